import { cueLoad } from '../core/cue-load.ts';
import type { CueRails } from '../core/requests.ts';
import { budgetOf } from '../prop/budget.ts';
import { budgetFindings } from '../prop/lint-budget.ts';
import { type Loaded, loadProp } from '../prop/load.ts';
import type { Prop } from '../prop/schema.ts';
import { type ErrorName, Refusal } from '../shared/errors.ts';
import { columns } from '../sums/course.ts';

/** A cue, or with none the budget without cues. */
export interface BudgetQuestion {
  cue?: string;
}

export type BudgetAnswer =
  | { result: object }
  | { kind: ErrorName; reason: string; values: Record<string, unknown> };

/** The plot of a rail has this many columns of equal time. */
const PLOT_COLUMNS = 240;

/** Answers questions about one prop file as it is now; what was reckoned is kept while it stays. */
export class BudgetReckoner {
  readonly #file: string;
  #text: string | undefined;
  #prop: Prop | undefined;
  readonly #known = new Map<string | undefined, object>();

  constructor(file: string) {
    this.#file = file;
  }

  async answer({ cue }: BudgetQuestion): Promise<BudgetAnswer> {
    try {
      const loaded = await loadProp(this.#file);
      if (loaded.text !== this.#text) {
        this.#known.clear();
        this.#text = loaded.text;
        this.#prop = loaded.prop;
      }
      const prop = this.#prop ?? refuse(loaded);
      let result = this.#known.get(cue);
      if (!result) {
        result = cue === undefined ? sums(prop, loaded.text) : await curves(prop, cue);
        this.#known.set(cue, result);
      }
      return { result };
    } catch (error) {
      if (!(error instanceof Refusal)) throw error;
      const { kind, message, values } = error;
      return { kind, reason: message, values };
    }
  }
}

function refuse({ findings }: Loaded): never {
  const { line, path, wrong } = findings.find(({ severity }) => severity === 'error')!;
  const reason = `the prop file has errors now (line ${line}: ${path}: ${wrong}); mend it, see sinew check`;
  throw new Refusal('condition', reason, { line, path });
}

function sums(prop: Prop, text: string) {
  const { rails, channels } = budgetOf(prop);
  return { rails, channels, findings: budgetFindings(prop, text) };
}

async function curves(prop: Prop, cue: string): Promise<CueRails> {
  const load = await cueLoad(prop, cue);
  const rails = load.rails.map(({ tS, amps, ...rail }) => {
    const course = columns({ tS, value: amps }, load.durationS, PLOT_COLUMNS);
    return { ...rail, amps: [amps[0]!, ...course.map(({ far }) => far)] };
  });
  return { ...load, rails };
}
