import type { Paper } from '../drawings/protractor.tsx';
import { writeOut } from './output.ts';
import { type Outcome, verb } from './verb.ts';

interface Inputs {
  paper?: Paper;
  out?: string;
}

/** `sinew protractor`: the sheet with which true angles are read. */
export const protractorVerb = verb<Inputs>({
  name: 'protractor',
  summary: 'draw a protractor to print at true size, for measuring true angles on the page (Bench)',
  where: 'line',
  args: [],
  options: [
    { flags: '--paper <P>', doc: 'a4 (default) or letter', choices: ['a4', 'letter'] },
    { flags: '--out <FILE>', doc: 'write the drawing (SVG) to this file instead' },
  ],
  async run({ paper = 'a4', out }): Promise<Outcome> {
    const { protractorSvg } = await import('./protractor-drawn.tsx');
    const svg = protractorSvg(paper);
    if (out === undefined) return { result: { paper, svg }, text: svg };
    await writeOut(out, `${svg}\n`);
    const how = 'print it at 100 %, then measure its two 100 mm lines';
    return { result: { paper, written: out }, text: `written to ${out}; ${how}` };
  },
});
