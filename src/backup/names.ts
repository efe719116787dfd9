import { MAX_PICTURE_BYTES, PICTURE_NAME } from '../prop/picture/name.ts';
import { MAX_TAKE_CHARS, TAKE_NAME } from '../prop/take/take-text.ts';
import { MAX_BYTES } from '../prop/text.ts';
import { MAX_SOUND_BYTES, SOUND_NAME } from '../sound/limits.ts';

/** The names that files have in a backup. None depends on where the prop file was. */

export const PROP = 'prop.yaml';
const VERSION = /^versions\/([1-9]\d?)\.yaml$/;
const BESIDE = 'beside/';
export const STATE = 'state/state.json';
/** Folders of the state folder with numbered files: what happened, and what was measured before it. */
export const LOGS = ['journal', 'incidents'] as const;
const LOG = /^state\/(journal|incidents)\/(\d{6,15}\.log)$/;
/** More than such a file ever has (bytes). */
const MAX_LOG_BYTES = 2 * 1024 * 1024;

/** What a prop file may have beside it: plain names, no folder, with a known ending. */
const KINDS: readonly [RegExp, number][] = [
  [TAKE_NAME, MAX_TAKE_CHARS],
  [SOUND_NAME, MAX_SOUND_BYTES],
  [PICTURE_NAME, MAX_PICTURE_BYTES],
];

/** A file that the daemon keeps in its state folder and that a backup takes. */
export interface Kept {
  /** In the archive. */
  name: string;
  /** In the state folder; `id` stands for the prop file (`fileId`). */
  inFolder: (id: string) => string;
  maxBytes: number;
}

/**
 * A new file of the state folder gets its line here. Left out: locks, the plan of safe levels and the
 * compiled form, which belong to the machine and are made again, and anything that is not named here.
 */
export const KEPT: readonly Kept[] = [
  { name: STATE, inFolder: () => 'state.json', maxBytes: MAX_BYTES },
  {
    name: 'state/last-known.yaml',
    inFolder: (id) => `last-known-${id}.yaml`,
    maxBytes: MAX_BYTES,
  },
  { name: 'state/history.json', inFolder: (id) => `history-${id}.json`, maxBytes: MAX_BYTES },
  { name: 'state/wear.json', inFolder: () => 'wear.json', maxBytes: 4 * MAX_BYTES },
];

/** The most that a file of this name may have (bytes); undefined for a name that no backup has. */
export function sizeLimit(name: string): number | undefined {
  if (name === PROP || VERSION.test(name)) return MAX_BYTES;
  if (name.startsWith(BESIDE)) return besideLimit(name.slice(BESIDE.length));
  if (LOG.test(name)) return MAX_LOG_BYTES;
  return KEPT.find((one) => one.name === name)?.maxBytes;
}

/** The same for a plain name beside the prop file. */
export function besideLimit(file: string): number | undefined {
  return KINDS.find(([pattern]) => pattern.test(file))?.[1];
}

export const versionName = (number: number): string => `versions/${number}.yaml`;
export const besideName = (file: string): string => BESIDE + file;

/** The number of a kept version; undefined for another file. */
export function versionNumber(name: string): number | undefined {
  const digits = VERSION.exec(name)?.[1];
  return digits === undefined ? undefined : Number(digits);
}

export const logName = (folder: (typeof LOGS)[number], file: string): string =>
  `state/${folder}/${file}`;

/** The folder and name of such a file in the state folder; undefined for another file. */
export function logFile(name: string): { folder: string; file: string } | undefined {
  const [, folder, file] = LOG.exec(name) ?? [];
  return folder === undefined || file === undefined ? undefined : { folder, file };
}

/** The plain name beside the prop file; undefined for another file. */
export function besideFile(name: string): string | undefined {
  return name.startsWith(BESIDE) ? name.slice(BESIDE.length) : undefined;
}

/** The plain names of the takes, sounds and pictures that the data of a prop file names. */
export function filesNamed(raw: unknown): string[] {
  const { takes, sounds, picture } = (raw ?? {}) as Record<string, unknown>;
  const found = [
    ...Object.values(isObject(takes) ? takes : {}),
    ...Object.values(isObject(sounds) ? sounds : {}).map(fileOf),
    fileOf(picture),
  ];
  return found.filter(
    (file): file is string => typeof file === 'string' && besideLimit(file) !== undefined,
  );
}

const fileOf = (value: unknown): unknown => (isObject(value) ? value.file : value);

function isObject(value: unknown): value is Record<string, unknown> {
  return typeof value === 'object' && value !== null;
}
