import type { CueRails } from '../api/types.ts';
import { budgetOf } from '../prop/budget.ts';
import { explainKey, findKeys, type KeySchema } from '../prop/explain.ts';
import { findingInfos, placedFindings } from '../prop/finding-info.ts';
import { fixed } from '../prop/fix.ts';
import { jsonSchema } from '../prop/json-schema.ts';
import { lineDifference } from '../prop/line-difference.ts';
import { budgetFindings } from '../prop/lint-budget.ts';
import { type Loaded, parseProp } from '../prop/load.ts';
import { safePicture } from '../prop/picture/picture.ts';
import type { Prop } from '../prop/schema.ts';
import { readText } from '../prop/text.ts';
import { rehearseAll } from '../rehearsal/rehearse-all.ts';
import { wholeFindings } from '../rehearsal/rehearse-findings.ts';
import { rehearsedLoad } from '../rehearsal/rehearsed-load.ts';
import { Refusal } from '../shared/errors.ts';
import { lazily } from '../shared/lazily.ts';
import type { RefusalCode } from '../shared/refusals.ts';
import { columns } from '../sums/time-series.ts';
import { changesBetween } from './changes.ts';
import { refuseFaulty } from './faulty.ts';
import { isPartsQuestion, type PartsQuestion } from './parts-question.ts';
import type { PartsPlanner } from './planner-parts.ts';
import { isProposalQuestion, type ProposalQuestion } from './proposal-question.ts';

/** What is asked of the planner's thread; it reads no file itself. */
export type PlannerQuestion =
  | { about: 'check'; text: string; file: string }
  /** The whole prop, as far as there is time. */
  | { about: 'rehearsal'; version: string; text: string; file: string }
  /** What the sure corrections change; of the findings with these numbers, or all. */
  | { about: 'fix'; version: string; text: string; file: string; only?: number[] | undefined }
  /** What a version differs in from the present one, and from the one in use. */
  | {
      about: 'difference';
      version: string;
      present: string;
      before: string;
      after: string;
      inUse: string;
      file: string;
    }
  /** The key reference: one key, or those that have the words of `find`. */
  | { about: 'explain'; key?: string | undefined; find?: string | undefined }
  /** The budget without cues. */
  | { about: 'budget'; text: string; file: string }
  | { about: 'cue'; text: string; file: string; cue: string }
  /** A picture, made safe: `SafePicture`. */
  | { about: 'picture'; bytes: Uint8Array }
  | PartsQuestion
  | ProposalQuestion;

type Asked<A extends PlannerQuestion['about']> = Extract<PlannerQuestion, { about: A }>;

export type PlannerAnswer =
  | { result: object }
  | { code: RefusalCode; reason: string; values: Record<string, unknown> };

/** The plot of a rail has this many columns of equal time. */
const PLOT_COLUMNS = 240;

/** Answers questions about texts; what it worked out for the last text in use is kept. */
export class Planner {
  #text: string | undefined;
  #loaded: Loaded | undefined;
  readonly #known = new Map<string, object>();
  #parts: PartsPlanner | undefined;

  async answer(question: PlannerQuestion): Promise<PlannerAnswer> {
    try {
      if (question.about === 'explain') return { result: explained(question) };
      if (question.about === 'picture') return { result: await safePicture(question.bytes) };
      if (isProposalQuestion(question)) {
        // Few ask for it, and whoever does not should not pay for it.
        const { proposalAnswer } = await import('./planner-proposal.ts');
        return { result: proposalAnswer(question) };
      }
      if (isPartsQuestion(question)) {
        const { PartsPlanner } = await import('./planner-parts.ts');
        this.#parts ??= new PartsPlanner();
        return { result: this.#parts.answer(question) };
      }
      if (question.about === 'rehearsal') return { result: await rehearsed(question) };
      if (question.about === 'fix') return { result: corrected(question) };
      if (question.about === 'difference') return { result: compared(question) };
      const { text, file } = question;
      // A text that is only looked at replaces nothing.
      if (question.about === 'check')
        return { result: { findings: findingInfos(parseProp(text, file).findings) } };
      if (text !== this.#text) {
        this.#known.clear();
        this.#text = text;
        this.#loaded = parseProp(text, file);
      }
      const loaded = this.#loaded!;
      const prop = loaded.prop ?? refuseFaulty(loaded);
      const key = question.about === 'cue' ? `cue ${question.cue}` : 'budget';
      let result = this.#known.get(key);
      if (!result) {
        result = question.about === 'cue' ? await curves(prop, question.cue) : sums(prop, text);
        this.#known.set(key, result);
      }
      return { result };
    } catch (error) {
      if (!(error instanceof Refusal)) throw error;
      const { word, message, values } = error;
      return { code: word, reason: message, values };
    }
  }
}

const schema = lazily(() => jsonSchema() as KeySchema);

/** Keys that a search gives. */
const FOUND_LIMIT = 40;

function explained({ key, find }: Asked<'explain'>): object {
  if (find !== undefined) return { found: findKeys(schema(), find, FOUND_LIMIT) };
  return { key: explainKey(schema(), key ?? '') };
}

/** How long a whole prop is rehearsed (ms): others wait for the planner meanwhile. */
const REHEARSAL_MS = 15_000;

async function rehearsed({ version, text, file }: Asked<'rehearsal'>): Promise<object> {
  const loaded = parseProp(text, file);
  const prop = loaded.prop ?? refuseFaulty(loaded);
  const endMs = performance.now() + REHEARSAL_MS;
  const done = await rehearseAll(prop, () => performance.now() < endMs);
  const { findings, more } = placedFindings(wholeFindings(done, loaded));
  return { version, findings, more, skipped: done.skipped };
}

/** Lines of a difference, those around the changes included. */
const AROUND = 2;
const MAX_LINES = 400;

function corrected({ version, text, file, only }: Asked<'fix'>): object {
  const { findings } = parseProp(text, file);
  const next = fixed(text, file, only);
  const done = next.done.flatMap(({ line, column, path, wrong }) => {
    const at = findings.findIndex(
      (one) =>
        one.line === line && one.column === column && one.path === path && one.wrong === wrong,
    );
    return at < 0 ? [] : [at];
  });
  return {
    version,
    done,
    left: next.left.length,
    ...(next.done.length > 0 && { text: next.text }),
    ...lineDifference(text, next.text, AROUND, MAX_LINES),
  };
}

function compared({ version, present, before, after, inUse, file }: Asked<'difference'>): object {
  const { prop, raw, findings } = parseProp(after, file);
  const lines = lineDifference(before, after, AROUND, MAX_LINES);
  if (!prop) {
    const { line, path, wrong } = findings.find(({ severity }) => severity === 'error')!;
    const problem = `it has an error (line ${line}: ${path}: ${wrong})`;
    return { version, present, changed: [], whenParked: false, problem, ...lines };
  }
  const { list, whenParked } = changesBetween(readText(inUse).raw, raw);
  return { version, present, changed: list, whenParked, ...lines };
}

function sums(prop: Prop, text: string) {
  const { rails, channels } = budgetOf(prop);
  return { rails, channels, findings: budgetFindings(prop, text) };
}

async function curves(prop: Prop, cue: string): Promise<CueRails> {
  const load = await rehearsedLoad(prop, cue);
  const rails = load.rails.map(({ tS, amps, ...rail }) => {
    const series = columns({ tS, value: amps }, load.durationS, PLOT_COLUMNS);
    return { ...rail, amps: [amps[0]!, ...series.map(({ far }) => far)] };
  });
  return { ...load, rails };
}
