import { basename } from 'node:path';
import { isDeepStrictEqual } from 'node:util';
import type { AcceptedCopy } from '../prop/file/accepted-copy.ts';
import type { CompiledForm } from '../prop/file/compiled.ts';
import { firstError } from '../prop/file/edit.ts';
import type { History } from '../prop/file/history.ts';
import { type PropDisk, type Seen, TOO_LARGE_CODE } from '../prop/file/prop-disk.ts';
import { versionOf } from '../prop/file/version.ts';
import { type Loaded, loadProp, parseProp } from '../prop/load.ts';
import type { Prop } from '../prop/schema.ts';
import { withSoundFiles } from '../prop/sound-files.ts';
import { takesBeside } from '../prop/take/take-files.ts';
import { MAX_BYTES } from '../prop/text.ts';
import { truncation } from '../prop/truncation.ts';

export type ValidFile = Loaded & { prop: Prop };

/** What was found at the start. */
export type Opened = {
  seen: Seen;
  /** The file on the disk. */
  loaded: Loaded;
  /** The accepted version, as kept. */
  copy: string | undefined;
} /** `problem`: why that is not the file on the disk. */ & (
  | {
      inUse: ValidFile;
      problem: string | undefined;
      /** Kept from when it was accepted: the text has not been read, `inUse` has no source. */
      view?: unknown;
    }
  /** Nothing can be started; a whole sentence. */
  | { refused: string }
);

/**
 * Decides what to use: the file on the disk where it is valid and complete, else the version that was
 * accepted last. A file that is only the beginning of the accepted one is trusted where it is a version
 * that was in use before: it was put back by hand, or an undo was interrupted.
 * @param resumed the version that the core has, if it runs already
 * @param guard tries a large text elsewhere first
 * @param compiled the accepted version as it was worked out, where that is kept
 */
export async function openProp(
  file: string,
  disk: PropDisk,
  known: AcceptedCopy,
  history: History,
  resumed: string | undefined,
  guard?: Guard,
  compiled?: CompiledForm,
): Promise<Opened> {
  const [seen, copy] = await Promise.all([disk.look(), known.read()]);
  // What was worked out before need not be read and checked again, where nothing can be cut off.
  const text = seen.bytes?.toString();
  const whole =
    text !== undefined &&
    (copy === undefined || text === copy || truncation(text, copy) === undefined);
  const form =
    resumed === undefined && whole && isText(seen.bytes!, text)
      ? await compiled?.read(text)
      : undefined;
  if (text !== undefined && form && besideIsAs(form.prop, file)) {
    const { raw, prop, findings, view } = form;
    const loaded = { file, text, source: undefined, raw, prop, findings };
    return { seen, copy, loaded, inUse: loaded, problem: undefined, view };
  }
  const loaded = await loadSeen(file, seen, guard);
  const found = { seen, loaded, copy };
  if (resumed !== undefined) return { ...found, ...(await resume(file, found, disk, resumed)) };

  const version = versionOf(loaded.text);
  if (loaded.prop) {
    const cut = copy === undefined ? undefined : truncation(loaded.text, copy);
    if (cut === undefined || (await wasInUse(loaded.text, version, disk, history)))
      return { ...found, inUse: loaded as ValidFile, problem: undefined };
    const accepted = validCopy(copy, file);
    // A copy that is damaged itself says nothing about the file.
    if (!accepted) return { ...found, inUse: loaded as ValidFile, problem: undefined };
    return { ...found, inUse: accepted, problem: truncationText(file, cut, known.path) };
  }
  const accepted = validCopy(copy, file);
  if (!accepted && seen.error?.code === 'ENOENT')
    return {
      ...found,
      refused: `there is no ${file}; nothing was started. For a new prop: --prop ${file} --new begins with an empty one, to be filled in on the page, and sinew new ${file} asks in the terminal`,
    };
  if (!accepted) return { ...found, refused: `${file} has errors; nothing was started` };
  const problem = seen.bytes
    ? `it has an error: ${firstError(loaded)}. The prop keeps the version that was in use before; fix the file`
    : `${basename(file)} cannot be read (${firstError(loaded)}). The prop keeps the version that was in use before; put the file back (cp '${known.path}' '${file}')`;
  return { ...found, inUse: accepted, problem };
}

/** Whether the takes and sounds beside the file are as they were when it was worked out. */
function besideIsAs(prop: Prop, file: string): boolean {
  const { takes, performed = {} } = prop;
  const read = takesBeside(file);
  if (!isDeepStrictEqual(withSoundFiles(prop, file).soundFiles, prop.soundFiles)) return false;
  return Object.entries(takes).every(([name, one]) =>
    isDeepStrictEqual(read(one), Object.hasOwn(performed, name) ? performed[name] : undefined),
  );
}

/** Whether the bytes are UTF-8 text, and this one. */
function isText(bytes: Buffer, text: string): boolean {
  return Buffer.from(text).equals(bytes);
}

/** Tries a large text elsewhere first: why it is too much, if it is. */
export type Guard = (text: string) => Promise<string | undefined>;

/** Larger files are tried elsewhere first (bytes): reading one may take more memory than there is. */
const LARGE_BYTES = 200 * 1024;

/** Reads what was seen on the disk. Never throws. */
export async function loadSeen(
  file: string,
  { bytes, error }: Seen,
  guard: Guard | undefined,
): Promise<Loaded> {
  if (bytes && bytes.length > LARGE_BYTES && guard) {
    const wrong = await guard(bytes.toString());
    if (wrong !== undefined) {
      const { findings, ...none } = await loadProp(file, async () => Buffer.alloc(MAX_BYTES + 1));
      return { ...none, findings: [{ ...findings[0]!, wrong, right: 'shorten the file' }] };
    }
  }
  return loadProp(file, async () => {
    if (bytes) return bytes;
    // Its size is reason enough.
    if (error?.code === TOO_LARGE_CODE) return Buffer.alloc(MAX_BYTES + 1);
    throw error;
  });
}

/** Whether this text is a version that was accepted before. */
export async function wasInUse(
  text: string,
  version: string,
  disk: PropDisk,
  history: History,
): Promise<boolean> {
  if (history.find(version)) return true;
  const kept = await disk.versions().catch(() => []);
  return kept.some(({ bytes }) => bytes.toString() === text);
}

function validCopy(copy: string | undefined, file: string): ValidFile | undefined {
  if (copy === undefined) return undefined;
  const loaded = parseProp(copy, file);
  return loaded.prop ? (loaded as ValidFile) : undefined;
}

/** Finds the version that the core has. */
async function resume(
  file: string,
  { loaded, copy }: { loaded: Loaded; copy: string | undefined },
  disk: PropDisk,
  version: string,
): Promise<{ inUse: ValidFile; problem: string | undefined } | { refused: string }> {
  const kept = await disk.versions().catch(() => []);
  const texts = [copy, loaded.text, ...kept.map(({ bytes }) => bytes.toString())];
  const text = texts.find((one) => one !== undefined && versionOf(one) === version);
  const inUse =
    text === loaded.text ? loaded : text === undefined ? undefined : parseProp(text, file);
  if (!inUse?.prop)
    return { refused: `${file}: the version in use (${version}) is not on the disk any more` };
  const problem = loaded.prop
    ? undefined
    : `it has an error: ${firstError(loaded)}. The prop continues as before; fix the file`;
  return { inUse: inUse as ValidFile, problem };
}

/** That a file seems to be cut off, with the remedy. */
export function truncationText(file: string, why: string, copy: string): string {
  return `${file} seems to be cut off: ${why}. Put it back (cp '${copy}' '${file}'); or, if it is meant so, end it with a line of three dots (...)`;
}
