import { cueLoad } from '../core/cue-load.ts';
import type { CueRails } from '../core/requests.ts';
import { budgetOf } from '../prop/budget.ts';
import { WHOLE_FILE } from '../prop/finding.ts';
import { budgetFindings } from '../prop/lint-budget.ts';
import { type Finding, type Loaded, parseProp } from '../prop/load.ts';
import type { Prop } from '../prop/schema.ts';
import { type ErrorName, Refusal } from '../shared/errors.ts';
import { columns } from '../sums/course.ts';

/** What is asked of the planner's thread; it reads no file itself. */
export type PlannerQuestion =
  | { about: 'check'; text: string; file: string }
  /** The budget without cues. */
  | { about: 'budget'; text: string; file: string }
  | { about: 'cue'; text: string; file: string; cue: string };

export type PlannerAnswer =
  | { result: object }
  | { kind: ErrorName; reason: string; values: Record<string, unknown> };

/** The plot of a rail has this many columns of equal time. */
const PLOT_COLUMNS = 240;

/** Answers questions about texts; what it worked out for the last text in use is kept. */
export class Planner {
  #text: string | undefined;
  #loaded: Loaded | undefined;
  readonly #known = new Map<string, object>();

  async answer(question: PlannerQuestion): Promise<PlannerAnswer> {
    try {
      const { text, file } = question;
      // A text that is only looked at takes nobody's place.
      if (question.about === 'check')
        return { result: { findings: told(parseProp(text, file).findings) } };
      if (text !== this.#text) {
        this.#known.clear();
        this.#text = text;
        this.#loaded = parseProp(text, file);
      }
      const loaded = this.#loaded!;
      const prop = loaded.prop ?? refuse(loaded);
      const key = question.about === 'cue' ? `cue ${question.cue}` : 'budget';
      let result = this.#known.get(key);
      if (!result) {
        result = question.about === 'cue' ? await curves(prop, question.cue) : sums(prop, text);
        this.#known.set(key, result);
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

// --- findings as the API tells them ---------------------------------------------------------------

/** A finding in the terms of the API. */
export interface ToldFinding {
  /** Stable, a dotted word: the kind of rule, then the part of the file. */
  code: string;
  level: Finding['severity'];
  line: number;
  column: number;
  path: string;
  message: string;
}

export function told(findings: readonly Finding[]): ToldFinding[] {
  return findings.map((finding) => {
    const { severity, line, column, path, wrong, right } = finding;
    return {
      code: codeOf(finding),
      level: severity,
      line,
      column,
      path,
      message: `${wrong}; ${right}`,
    };
  });
}

/** The kinds of findings that many parts of the file share. */
const CODES: [wrong: RegExp, code: string][] = [
  [/^unknown key/, 'schema.unknown-key'],
  [/^missing$/, 'schema.missing'],
  [/^nothing is given/, 'schema.empty'],
  [/given twice/, 'yaml.duplicate-key'],
  [/merge key/, 'yaml.merge-key'],
  [/alias/, 'yaml.alias'],
  [/larger than/, 'file.too-large'],
  [/not UTF-8|byte order mark|control character/, 'file.encoding'],
  [/no such file|cannot be read|no permission|a folder/, 'file.unreadable'],
  [/^the file is empty/, 'file.empty'],
];

function codeOf({ wrong, path }: Finding): string {
  for (const [pattern, code] of CODES) if (pattern.test(wrong)) return code;
  if (path === WHOLE_FILE) return 'yaml.syntax';
  return `prop.${/^[a-zA-Z]+/.exec(path)?.[0] ?? 'file'}`;
}
