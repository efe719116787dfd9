import { Refusal } from '../../shared/errors.ts';
import { type Edit, NotAlone } from '../edit-text.ts';
import { formatFinding, type Path, pathText, show } from '../finding.ts';
import { findingInfos } from '../finding-info.ts';
import { editProp, type Loaded } from '../load.ts';
import { valueAt } from '../schema-remarks.ts';

/**
 * A valid prop file with the edits made, all or none, in their order.
 * @throws Refusal `condition` where the file cannot be edited; `outOfLimits` when it would no longer be
 * valid.
 */
export function edited(loaded: Loaded, edits: readonly Edit[]): Loaded {
  let next: Loaded;
  try {
    next = editProp(loaded, edits);
  } catch (error) {
    if (!(error instanceof RangeError)) throw error;
    const { file } = loaded;
    const known = error instanceof NotAlone ? error : undefined;
    const place = known ? `${file}:${known.line}` : file;
    throw new Refusal('file.cannot-edit', `${place}: ${error.message}`, {
      file,
      ...(known && { line: known.line, path: pathText(known.path) }),
    });
  }
  return next === loaded ? loaded : valid(next);
}

/** @throws Refusal `outOfLimits` with the first error */
export function valid(loaded: Loaded): Loaded {
  if (loaded.prop) return loaded;
  throw new Refusal(
    'file.would-be-wrong',
    `nothing was written, since the prop file would be wrong: ${firstError(loaded)}`,
    { file: loaded.file, findings: findingInfos(loaded.findings) },
  );
}

/** The first error as one line; the file's name if there is none. */
export function firstError({ findings, file }: Loaded): string {
  const error = findings.find(({ severity }) => severity === 'error');
  return error ? formatFinding(error, file) : file;
}

/** A value that was replaced; undefined if there was none. */
export interface Replaced {
  path: Path;
  before: unknown;
  after: unknown;
}

/** What the edits replace, each at the highest path that it adds, so that undoing leaves nothing behind. */
export function replacements(edits: readonly Edit[], before: unknown, after: unknown): Replaced[] {
  const replaced = new Map<string, Replaced>();
  for (const edit of edits) {
    let path: Path = edit.path;
    for (let depth = 1; depth < edit.path.length; depth++) {
      path = edit.path.slice(0, depth);
      if (valueAt(before, path) === undefined) break;
      path = edit.path;
    }
    replaced.set(pathText(path), {
      path,
      before: valueAt(before, path),
      after: valueAt(after, path),
    });
  }
  return [...replaced.values()];
}
/** What undoing does, in words. */
export function undoneText(replaced: readonly Replaced[]): string {
  return replaced
    .map(({ path, before, after }) =>
      before === undefined
        ? `${pathText(path)} is gone again`
        : `${pathText(path)} is ${show(before)} again, no longer ${show(after)}`,
    )
    .join(', ');
}
