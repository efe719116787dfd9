import { PropDisk } from '../prop/file/prop-disk.ts';
import { type Finding, formatFinding } from '../prop/finding.ts';
import { fixed } from '../prop/fix.ts';
import { difference } from '../prop/line-difference.ts';
import { loadProp } from '../prop/load.ts';
import { Refusal } from '../shared/errors.ts';
import { utf8Text } from '../shared/utf8.ts';
import { EXIT, findingsExit, print } from './output.ts';
import { keptText, replaceProp } from './prop-file.ts';
import type { Operator, Outcome } from './verb.ts';

/**
 * `sinew check FILE --fix`: writes the corrections that have only one right answer, once a person has
 * seen the difference and said yes, or has given --yes. The previous version is kept beside it.
 */
export async function fixFile(file: string, yes: boolean, operator: Operator): Promise<Outcome> {
  const { bytes } = await new PropDisk(file).look();
  const text = bytes && utf8Text(bytes);
  if (text === undefined) {
    // What is wrong with the file itself cannot be corrected here.
    const { findings } = await loadProp(file);
    return nothing(file, findings);
  }
  const { text: next, done, left } = fixed(text, file);
  if (done.length === 0) return nothing(file, left);
  const lines = difference(text, next);
  const report = [
    ...done.map((finding) => formatFinding(finding, file)),
    '',
    ...lines,
    '',
    left.length === 0 ? 'nothing else is found' : 'what is left:',
    ...left.map((finding) => formatFinding(finding, file)),
  ];
  const result = { file, done, difference: lines, findings: left };
  const consent = yes || (await asked(file, report, operator));
  if (consent === undefined)
    return {
      result: { ...result, written: false },
      text: [...report, '', 'nothing was written; add --yes to write it'].join('\n'),
      exit: EXIT.refused,
    };
  if (!consent) throw new Refusal('command.not-confirmed', 'not confirmed; nothing was written');
  const kept = await replaceProp(file, text, next, 'Check it again');
  const end = `written${keptText(kept)}`;
  return {
    result: { ...result, written: true, ...(kept !== undefined && { kept }) },
    text: (yes ? [...report, '', end] : [end]).join('\n'),
    exit: findingsExit(left),
  };
}

/** Whether a person at the terminal says yes; undefined where there is none to ask. */
async function asked(
  file: string,
  report: readonly string[],
  { io, options, ask }: Operator,
): Promise<boolean | undefined> {
  if (io.stdin.isTTY !== true || options.json) return undefined;
  for (const line of report) print(io.stdout, line);
  const answer = await ask(`Write this to ${file}? [y/N] `, new AbortController().signal).catch(
    () => '',
  );
  return /^y(es)?$/i.test(answer.trim());
}

function nothing(file: string, findings: readonly Finding[]): Outcome {
  const lines = findings.map((finding) => formatFinding(finding, file));
  const text = [...lines, `${file}: nothing here can be corrected for sure; nothing was written`];
  return {
    result: { file, done: [], difference: [], findings, written: false },
    text: text.join('\n'),
    exit: findingsExit(findings),
  };
}
