import { formatFinding } from '../prop/finding.ts';
import { type LoadedShow, loadShow } from '../show/load-show.ts';
import type { ShowFile } from '../show/show-file.ts';
import { EXIT, findingsExit, UsageError, withCount } from './output.ts';
import type { Outcome } from './verb.ts';

/** The words after `sinew show`. */
export interface ShowInputs {
  what: string;
  file: string;
  words?: string;
  lead?: number;
  category?: 0 | 1 | 2;
  now?: true;
  listen?: string;
  pageToken?: string;
}

/** A show without errors. */
export type Whole = LoadedShow & { show: ShowFile };

/** Reads a show; what is answered where it has errors is `refused`. */
export async function readShow(file: string): Promise<Whole | { refused: Outcome }> {
  const loaded = await loadShow(file);
  const { show } = loaded;
  if (show) return { ...loaded, show };
  return { refused: report(loaded, EXIT.refused) };
}

export function noWords({ what, words }: ShowInputs): void {
  if (words !== undefined && words !== '')
    throw new UsageError(`${what} takes no more words than the file; leave out ${words}`);
}

export function report(
  { file, findings }: Pick<LoadedShow, 'file' | 'findings'>,
  exit: number,
): Outcome {
  const lines = findings.map((finding) => formatFinding(finding, file));
  const text = lines.length === 0 ? [`${file}: no findings`] : withCount(lines);
  return { result: { file, findings }, text: text.join('\n'), exit };
}

/** `sinew show check`. */
export async function checkAction(inputs: ShowInputs): Promise<Outcome> {
  noWords(inputs);
  const loaded = await loadShow(inputs.file);
  return report(loaded, findingsExit(loaded.findings));
}
