import { randomBytes } from 'node:crypto';
import { Refusal } from '../shared/errors.ts';
import type { Conductor } from '../show/conductor.ts';
import { type PlayedStep, playShow, sendS } from '../show/player.ts';
import { nextStart } from '../show/schedule.ts';
import { askedOf, type ShowFile } from '../show/show-file.ts';
import { EXIT, print, UsageError } from './output.ts';
import { linked } from './show-link.ts';
import { noWords, readShow, type ShowInputs } from './show-read.ts';
import type { Operator, Outcome } from './verb.ts';

/** Props measure the clock of a new conductor within this time (ms). */
const CLOCK_MS = 4000;
/** A clock that is set is noticed within this time (ms). */
const LOOK_MS = 1000;
/** A run begins so long before its first command is sent (ms). */
const SPARE_MS = 500;

/** `sinew show run`: plays the timeline, once or by its schedule. */
export async function runAction(inputs: ShowInputs, operator: Operator): Promise<Outcome> {
  noWords(inputs);
  const read = await readShow(inputs.file);
  if ('refused' in read) return read.refused;
  const { show } = read;
  if (!show.broker)
    throw new UsageError(`${inputs.file} has no broker; add broker: { url: ... } to it`);
  const { io, options } = operator;
  const say = (text: string) => {
    if (!options.json) print(io.stdout, `${new Date().toTimeString().slice(0, 8)} ${text}`);
  };
  const onLink = (problem: string | undefined) =>
    say(
      problem === undefined
        ? 'the broker is there'
        : `${problem}; the props go on as their files say, and what is due meanwhile is left out`,
    );
  return linked({ name: show.name, broker: show.broker }, operator, onLink, async (conductor) => {
    const running = new Running(show, conductor, operator, say);
    const off = io.onInterrupt(() => running.end());
    try {
      const once = inputs.now === true || show.schedule.length === 0;
      const failed = once ? await running.once() : await running.bySchedule();
      return {
        result: { show: show.name, steps: running.played },
        text: '',
        exit: failed ? EXIT.refused : EXIT.done,
      };
    } finally {
      off();
    }
  });
}

export class Running {
  readonly played: PlayedStep[] = [];
  readonly #show: ShowFile;
  readonly #conductor: Conductor;
  readonly #io: Operator['io'];
  readonly #say: (text: string) => void;
  #ended = false;
  #wake = () => {};
  #failed = false;

  constructor(
    show: ShowFile,
    conductor: Conductor,
    { io }: Pick<Operator, 'io'>,
    say: (text: string) => void,
  ) {
    this.#show = show;
    this.#conductor = conductor;
    this.#io = io;
    this.#say = say;
  }

  /** Nothing more is sent. What the props do, they do to its end. */
  end(): void {
    this.#ended = true;
    this.#say('ended: nothing more is sent; sinew show park brings the props to rest');
    this.#wake();
  }

  /** @throws Refusal where something of the show still runs */
  async once(): Promise<boolean> {
    const conductor = this.#conductor;
    const props = [
      ...new Set(
        this.#show.timeline.flatMap((one) => askedOf(this.#show, one).map(({ prop }) => prop)),
      ),
    ];
    await conductor.until(() => props.every((prop) => conductor.statuses.has(prop)), 1500);
    await conductor.until(() => conductor.isKnownTo(props), CLOCK_MS);
    const busy = props.filter((prop) => {
      const status = conductor.present(prop);
      return status !== undefined && (status.runs.length > 0 || status.waits > 0);
    });
    // A conductor that was started again must not start over what still runs.
    if (busy.length > 0)
      throw new Refusal(
        'condition.forbids',
        `something still runs or waits on ${busy.join(', ')}; wait until it is over, or end it: sinew show end`,
        { props: busy },
      );
    await this.#play(conductor.nowMs + this.#leadMs + SPARE_MS, randomBytes(8).toString('hex'));
    return this.#failed;
  }

  /** The first command is sent so long before the start (ms). */
  get #leadMs(): number {
    return -1000 * Math.min(0, ...this.#show.timeline.map((step) => sendS(this.#show, step)));
  }

  async bySchedule(): Promise<boolean> {
    const { schedule } = this.#show;
    const leadMs = this.#leadMs;
    let afterMs = Date.now();
    while (!this.#ended) {
      const startMs = nextStart(schedule, afterMs)!;
      this.#say(`the show plays at ${new Date(startMs).toLocaleString()}`);
      // Looked at again and again: somebody may set the clock of this computer.
      const readyMs = startMs - leadMs - SPARE_MS;
      for (let leftMs = readyMs - Date.now(); leftMs > 0; leftMs = readyMs - Date.now())
        if (!(await this.#sleep(Math.min(LOOK_MS, leftMs)))) return this.#failed;
      afterMs = startMs;
      const inMs = startMs - Date.now();
      if (inMs < leadMs) {
        this.#say('too late for this time: it is left out');
        continue;
      }
      await this.#play(this.#conductor.nowMs + inMs, new Date(startMs).toISOString());
    }
    return this.#failed;
  }

  async #play(startMs: number, run: string): Promise<void> {
    const timer = {
      sleepUntil: async (ms: number) => {
        const leftMs = ms - this.#conductor.nowMs;
        return leftMs <= 0 ? !this.#ended : this.#sleep(leftMs);
      },
    };
    await playShow(this.#show, this.#conductor, { startMs, run, timer }, (step) =>
      this.#tell(step),
    );
    if (!this.#ended) this.#say('the timeline is over');
  }

  #tell(played: PlayedStep): void {
    this.played.push(played);
    const { step, act, leftOut, replies } = played;
    const name = `step ${step + 1} (${act})`;
    if (leftOut === 'condition') this.#say(`${name}: left out: its condition does not hold`);
    if (leftOut === 'broker') this.#say(`${name}: left out: the broker is away`);
    if (leftOut === 'broker') this.#failed = true;
    for (const { prop, outcome, reason } of leftOut ? [] : replies) {
      const good = outcome === 'waits' || outcome === 'done';
      if (!good) this.#failed = true;
      const why = outcome === 'refused' ? `refused: ${reason}` : outcome;
      this.#say(`${name}: ${prop}: ${good ? 'taken' : why}`);
    }
  }

  /** @returns false once the run is to end */
  async #sleep(ms: number): Promise<boolean> {
    if (this.#ended) return false;
    await new Promise<void>((resolve) => {
      const cancel = this.#io.clock.after(Math.min(ms, 2 ** 31 - 1), resolve);
      this.#wake = () => {
        cancel();
        resolve();
      };
    });
    return !this.#ended;
  }
}
