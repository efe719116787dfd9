import type { CueRails } from '../api/types.ts';
import { budgetOf } from '../prop/budget.ts';
import { explainKey, findKeys, type KeySchema } from '../prop/explain.ts';
import { findingInfos } from '../prop/finding-info.ts';
import { jsonSchema } from '../prop/json-schema.ts';
import { budgetFindings } from '../prop/lint-budget.ts';
import { type Loaded, parseProp } from '../prop/load.ts';
import { safePicture } from '../prop/picture/picture.ts';
import type { Prop } from '../prop/schema.ts';
import { rehearsedLoad } from '../rehearsal/rehearsed-load.ts';
import { Refusal } from '../shared/errors.ts';
import { lazily } from '../shared/lazily.ts';
import type { RefusalCode } from '../shared/refusals.ts';
import { columns } from '../sums/time-series.ts';
import { refuseFaulty } from './faulty.ts';
import { PartsPlanner, type PartsQuestion } from './planner-parts.ts';
import { isProposalQuestion, type ProposalQuestion, proposalAnswer } from './planner-proposal.ts';

/** What is asked of the planner's thread; it reads no file itself. */
export type PlannerQuestion =
  | { about: 'check'; text: string; file: string }
  /** The key reference: one key, or those that have the words of `find`. */
  | { about: 'explain'; key?: string | undefined; find?: string | undefined }
  /** The budget without cues. */
  | { about: 'budget'; text: string; file: string }
  | { about: 'cue'; text: string; file: string; cue: string }
  /** A picture, made safe: `SafePicture`. */
  | { about: 'picture'; bytes: Uint8Array }
  | PartsQuestion
  | ProposalQuestion;

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
  readonly #parts = new PartsPlanner();

  async answer(question: PlannerQuestion): Promise<PlannerAnswer> {
    try {
      if (question.about === 'explain') return { result: explained(question) };
      if (question.about === 'picture') return { result: await safePicture(question.bytes) };
      if (isProposalQuestion(question)) return { result: proposalAnswer(question) };
      if (question.about === 'plan') return { result: this.#parts.answer(question) };
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

function explained({ key, find }: Extract<PlannerQuestion, { about: 'explain' }>): object {
  if (find !== undefined) return { found: findKeys(schema(), find, FOUND_LIMIT) };
  return { key: explainKey(schema(), key ?? '') };
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
