import type { Finding } from '../finding.ts';

/** How the prop file differs from the prop in use. */
export interface FileStatus {
  /** The file's name without its folder. */
  name: string;
  /** The version in use: `sha256` of its text, the first 16 hexadecimal digits. */
  version: string;
  /** The version on the disk, which may be the same; null if the file is gone or unreadable. */
  onDisk: string | null;
  /** The version on the disk is valid and waits until the prop is parked. */
  pending: boolean;
  /** Why the version on the disk is not in use, in one sentence with the remedy. */
  problem?: string;
  /** What is wrong with the version on the disk. */
  findings: Finding[];
  /** What the version on the disk would change, in words, if it is not in use. */
  changed: string[];
}

/** Who asked for a change of the file. */
export interface Author {
  /** The session; its request is refused if it has ended before the request's turn. */
  session: string;
  client: string;
  /** The purpose, in words: `mark open of beak`. */
  what: string;
}
