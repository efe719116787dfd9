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
import { takesSignature } from '../prop/take/take-files.ts';
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
import type { Asked, PlannerQuestion, PropSource } from './planner-question.ts';

export type PlannerAnswer =
  | { result: object }
  | { code: RefusalCode; reason: string; values: Record<string, unknown> };

/** The plot of a rail has this many columns of equal time. */
const PLOT_COLUMNS = 240;

/** A text that was read, and what has been worked out from it. */
interface Read {
  loaded: Loaded;
  /** Of the takes and sounds beside the file. */
  beside: string;
  known: Map<string, object>;
}

/** Texts that are kept: the file on the disk may be another than the one in use. */
const KEPT = 2;

/** Answers what is asked of the prop-file service and takes long; what was read last is kept. */
export class Planner {
  /** By their texts, the last one last. */
  readonly #read = new Map<string, Read>();

  async answer(question: PlannerQuestion): Promise<PlannerAnswer> {
    try {
      return { result: await this.#result(question) };
    } catch (error) {
      if (!(error instanceof Refusal)) throw error;
      const { word, message, values } = error;
      return { code: word, reason: message, values };
    }
  }

  async #result(question: PlannerQuestion): Promise<object> {
    const read = (source: PropSource) => this.#reading(source).loaded;
    switch (question.about) {
      case 'check':
        // A text that is only looked at replaces nothing.
        return { findings: findingInfos(parseProp(question.text, question.file).findings) };
      case 'rehearsal':
        return rehearsed(question);
      case 'fix':
        return corrected(question);
      case 'difference':
        return compared(question);
      case 'explain':
        return explained(question);
      case 'picture':
        return safePicture(question.bytes);
      case 'budget':
      case 'cue':
        return this.#summed(question);
      // Few ask for the rest, and whoever does not should not pay for it.
      case 'plan':
      case 'data':
        return (await import('./planner-parts.ts')).partsAnswer(question, read);
      case 'loudness':
        return (await import('./planner-follow.ts')).loudnessAnswer(question);
      case 'follow':
        return (await import('./planner-follow.ts')).followAnswer(question);
      case 'take':
        return (await import('./planner-take.ts')).takeAnswer(question);
      case 'cue-rehearsal':
        return (await import('./planner-cues.ts')).cueAnswer(question, read);
      case 'passage':
        return (await import('./planner-cues.ts')).passageAnswer(question, read);
      case 'ask':
      case 'proposal':
      case 'loom':
      case 'shopping':
        return (await import('./planner-proposal.ts')).proposalAnswer(question, read);
    }
  }

  #reading({ text, file }: PropSource): Read {
    const key = `${file}\n${text}`;
    let read = this.#read.get(key);
    this.#read.delete(key);
    if (read && read.beside !== besideOf(read.loaded)) read = undefined;
    if (!read) {
      for (const old of this.#read.keys()) if (this.#read.size >= KEPT) this.#read.delete(old);
      const loaded = parseProp(text, file);
      read = { loaded, beside: besideOf(loaded), known: new Map() };
    }
    this.#read.set(key, read);
    return read;
  }

  async #summed(question: Asked<'budget' | 'cue'>): Promise<object> {
    const { loaded, known } = this.#reading(question);
    const prop = loaded.prop ?? refuseFaulty(loaded);
    const key = question.about === 'cue' ? `cue ${question.cue}` : 'budget';
    let result = known.get(key);
    if (!result) {
      result =
        question.about === 'cue' ? await curves(prop, question.cue) : sums(prop, question.text);
      known.set(key, result);
    }
    return result;
  }
}

/** Changes with every take and sound that the prop has beside its file. */
function besideOf({ prop, file }: Loaded): string {
  const { takes = {}, soundFiles = {} } = prop ?? {};
  const sounds = Object.values(soundFiles).map((one) => one.file);
  const files = [...Object.values(takes), ...sounds];
  return files.length === 0 ? '' : takesSignature(file, files);
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
  const next = fixed(text, file, only);
  const done = next.done.flatMap(({ line, column, path, wrong }) => {
    const at = next.found.findIndex(
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
