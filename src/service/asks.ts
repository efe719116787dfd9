import type { Params, Result } from '../api/methods.ts';
import type { Incident, IncidentHead } from '../api/types.ts';
import type { WeakWires } from '../prop/drop-ways.ts';
import { versionOf } from '../prop/file/version.ts';
import { foundBy } from '../prop/find-wires.ts';
import type { Prop } from '../prop/schema.ts';
import { traceFault } from '../prop/trace.ts';
import type { JournalAnswer, JournalQuery } from '../record/query.ts';
import { asRefusal, type ErrorObject, Refusal } from '../shared/errors.ts';
import { Rotation } from '../shared/rotation.ts';
import type { Keeper } from './keeper.ts';
import type { Pictures } from './pictures.ts';
import type { PlannerPort } from './planner.ts';
import type { PlannerQuestion } from './planner-question.ts';
import type { AnswerToGateway, AskedMethod, FromGateway } from './protocol.ts';
import type { Sounds } from './sounds.ts';

/** @returns JSON */
type Work<M extends AskedMethod> = (
  params: Params<M>,
  session: string,
  weak: readonly WeakWires[],
) => Promise<string>;

/** What is kept of what happened. */
export interface Records {
  journal(query: JournalQuery): Promise<JournalAnswer>;
  /** Oldest first. */
  incidents(): Promise<IncidentHead[]>;
  incident(seq: number): Promise<Incident | undefined>;
  wear(): Result<'wear.read'>;
}

type Ask = Extract<FromGateway, { t: 'ask' }>;

/** What one session may have waiting. */
const MAX_WAITING = 16;
/** Answers kept, and their size in all (characters). */
const MAX_KEPT = 64;
const MAX_CHARACTERS = 2 * 1024 * 1024;

/**
 * Questions of the gateway: one in each turn of the event loop, the sessions in rotation, so that
 * whatever else comes in goes first and nobody waits for somebody who asks without end.
 */
export class Asks {
  readonly #keeper: Keeper;
  readonly #planner: PlannerPort;
  readonly #pictures: Pictures;
  readonly #sounds: Sounds;
  readonly #records: Records;
  readonly #answer: (answer: AnswerToGateway) => void;
  readonly #trouble: (error: unknown) => void;
  readonly #waiting = new Rotation<Ask>();
  /** Handed to the planner or the disk, by session. */
  readonly #busy = new Map<string, number>();
  readonly #gone = new Set<string>();
  readonly #kept = new Map<string, string>();
  #characters = 0;
  #keptFor: string | undefined;
  #running = false;

  constructor(
    keeper: Keeper,
    planner: PlannerPort,
    pictures: Pictures,
    sounds: Sounds,
    records: Records,
    answer: (answer: AnswerToGateway) => void,
    trouble: (error: unknown) => void,
  ) {
    this.#keeper = keeper;
    this.#planner = planner;
    this.#pictures = pictures;
    this.#sounds = sounds;
    this.#records = records;
    this.#answer = answer;
    this.#trouble = trouble;
  }

  ask(ask: Ask): void {
    const { session, id } = ask;
    if (this.#waiting.count(session) + (this.#busy.get(session) ?? 0) >= MAX_WAITING) {
      const reason = `${MAX_WAITING} questions of this session wait already; ask again when they are answered`;
      this.#answer({
        id,
        error: new Refusal('service.busy', reason, { limit: MAX_WAITING }).toObject(),
      });
      return;
    }
    this.#waiting.add(session, ask);
    this.#run();
  }

  /** Drops what the session waits for. */
  gone(session: string): void {
    this.#waiting.drop(session);
    if (this.#busy.has(session)) this.#gone.add(session);
    this.#planner.gone(session);
  }

  #run(): void {
    if (this.#running) return;
    this.#running = true;
    setImmediate(() => {
      this.#running = false;
      const ask = this.#waiting.next();
      if (ask) void this.#do(ask);
      if (!this.#waiting.isEmpty) this.#run();
    });
  }

  async #do({ id, session, method, params, weak = [] }: Ask): Promise<void> {
    this.#busy.set(session, (this.#busy.get(session) ?? 0) + 1);
    let answer: AnswerToGateway;
    try {
      answer = { id, text: await this.#textFor(session, method, params, weak) };
    } catch (error) {
      answer = { id, error: this.#errorOf(error) };
    }
    const busy = this.#busy.get(session)! - 1;
    if (busy > 0) this.#busy.set(session, busy);
    else this.#busy.delete(session);
    if (!this.#gone.has(session)) this.#answer(answer);
    else if (busy === 0) this.#gone.delete(session);
  }

  #errorOf(error: unknown): ErrorObject {
    if (!(error instanceof Refusal)) this.#trouble(error);
    return asRefusal(error).toObject();
  }

  async #textFor(
    session: string,
    method: AskedMethod,
    params: object,
    weak: readonly WeakWires[],
  ): Promise<string> {
    const work = this.#works[method] as Work<never>;
    return work(params as never, session, weak);
  }

  /** What works out each answer, as JSON. */
  readonly #works: { [M in AskedMethod]: Work<M> } = {
    'loom.find': (params) =>
      this.#cached('loom.find', params, (prop) => foundBy(prop, params.text)),
    'loom.trace': (params, _session, weak) =>
      this.#cached(
        'loom.trace',
        params,
        (prop) => traceFault(prop, params.channel, params.symptom, weak),
        weak,
      ),
    'budget.read': (_params, session) => this.#plan(session, { about: 'budget', ...this.#text() }),
    'budget.cue': ({ cue }, session) => this.#plan(session, { about: 'cue', ...this.#text(), cue }),
    'prop.check': ({ text }, session) =>
      this.#plan(session, { about: 'check', text, file: this.#keeper.name }),
    'prop.explain': (params, session) => this.#plan(session, { about: 'explain', ...params }),
    'prop.data': (_params, session) => this.#plan(session, { about: 'data', ...this.#present() }),
    'prop.plan': async (params, session) => {
      this.#refuseOther(
        params.version,
        ', so the change was not planned. Read it again (prop.data), then ask again',
      );
      return this.#plan(session, { about: 'plan', ...params, ...this.#present() });
    },
    'proposal.ask': (params, session) => this.#plan(session, { about: 'ask', ...params }),
    'proposal.prop': (params, session) =>
      this.#plan(session, { about: 'proposal', ...params, file: this.#keeper.name }),
    'proposal.loom': (params, session) =>
      this.#plan(session, { about: 'loom', ...params, ...this.#present() }),
    'proposal.shopping': (_params, session) =>
      this.#plan(session, { about: 'shopping', ...this.#text() }),
    'prop.read': async () => JSON.stringify(this.#keeper.read()),
    'picture.part': async (params, session) => JSON.stringify(this.#pictures.part(params, session)),
    'picture.cancel': async (_params, session) =>
      JSON.stringify({ cancelled: this.#pictures.gone(session) }),
    'picture.read': async (_params, session) => {
      const { picture } = this.#keeper.inUse.loaded.prop;
      return JSON.stringify(await this.#pictures.read(picture, session));
    },
    'sound.part': async (params, session) => JSON.stringify(this.#sounds.part(params, session)),
    'sound.cancel': async (_params, session) =>
      JSON.stringify({ cancelled: this.#sounds.gone(session) }),
    'sound.read': async (params, session) =>
      JSON.stringify(await this.#sounds.read(params, session)),
    'prop.findings': async () => JSON.stringify(this.#keeper.findings()),
    'prop.rehearse': (_params, session) =>
      this.#plan(session, { about: 'rehearsal', ...this.#present() }),
    'cue.rehearse': ({ text, ...params }, session) => {
      const source =
        text === undefined
          ? this.#present()
          : { text, file: this.#keeper.inUse.loaded.file, version: versionOf(text) };
      return this.#plan(session, { about: 'cue-rehearsal', ...params, ...source });
    },
    'prop.version': async ({ version, from = 1, lines }) => {
      const all = (await this.#keeper.textOf(version)).split('\n');
      const text = all.slice(from - 1, lines === undefined ? undefined : from - 1 + lines);
      return JSON.stringify({ version, from, of: all.length, text: text.join('\n') });
    },
    'prop.difference': async ({ version }, session) => {
      const { text: before, version: present } = this.#present();
      const after = await this.#keeper.textOf(version);
      const { text: inUse, file } = this.#text();
      const texts = { before, after, inUse };
      return this.#plan(session, { about: 'difference', version, present, ...texts, file });
    },
    'prop.fix': async (params, session) => {
      this.#refuseOther(params.version, '. Read its findings again (prop.findings)');
      return this.#plan(session, { about: 'fix', ...params, ...this.#present() });
    },
    'journal.read': async (params) => JSON.stringify(await this.#records.journal(params)),
    'wear.read': async () => JSON.stringify(this.#records.wear()),
    'incident.list': async () => JSON.stringify({ incidents: await this.#records.incidents() }),
    'incident.read': async ({ seq }) => {
      const incident = await this.#records.incident(seq);
      if (incident) return JSON.stringify(incident);
      const reason = `no incident ${seq} is kept; incident.list names those that are`;
      throw new Refusal('incident.unknown', reason, { seq });
    },
    'prop.history': async () => JSON.stringify(await this.#keeper.history()),
  };

  #text(): { text: string; file: string } {
    const { text, file } = this.#keeper.inUse.loaded;
    return { text, file };
  }

  /** The file on the disk, or what is in use when that cannot be read. */
  #present(): { text: string; file: string; version: string } {
    const { text, presentVersion: version, inUse } = this.#keeper;
    // With its folder, where takes and sounds are.
    return { text, file: inUse.loaded.file, version };
  }

  /** @throws Refusal when `asked` is not the present version. @param more the end of the sentence, and the remedy */
  #refuseOther(asked: string, more: string): void {
    const { presentVersion: version } = this.#keeper;
    if (asked === version) return;
    const reason = `the prop file was changed by somebody else meanwhile${more}`;
    throw new Refusal('file.other-version', reason, { version, changed: [] });
  }

  async #plan(session: string, question: PlannerQuestion): Promise<string> {
    return JSON.stringify(await this.#planner.ask(session, question));
  }

  /** An answer that stays the same while the same version is in use. */
  async #cached<M extends AskedMethod>(
    method: M,
    params: Params<M>,
    make: (prop: Prop) => Result<M>,
    measured: readonly WeakWires[] = [],
  ): Promise<string> {
    const { loaded, version } = this.#keeper.inUse;
    if (version !== this.#keptFor) {
      this.#kept.clear();
      this.#characters = 0;
      this.#keptFor = version;
    }
    const key = `${method} ${JSON.stringify([params, measured])}`;
    let text = this.#kept.get(key);
    if (text !== undefined) this.#kept.delete(key);
    else {
      text = JSON.stringify(make(loaded.prop));
      this.#characters += text.length;
    }
    // The one used longest ago is the first to go.
    this.#kept.set(key, text);
    for (const [oldest, one] of this.#kept) {
      if (this.#kept.size <= MAX_KEPT && this.#characters <= MAX_CHARACTERS) break;
      this.#kept.delete(oldest);
      this.#characters -= one.length;
    }
    return text;
  }
}
