import type { MeasurePart } from '../api/methods/measure.ts';
import type { Params, Result } from '../api/methods.ts';
import type { Edit } from '../prop/edit-text.ts';
import { freeRunningOf } from '../prop/free-running.ts';
import type { ServoChannel } from '../prop/schema.ts';
import { Refusal } from '../shared/errors.ts';
import { measuredOf } from '../shared/measured.ts';
import { clamp, tidy } from '../shared/units.ts';
import type { Actuator } from './actuators.ts';
import type { Body } from './body.ts';
import type { CoreProp } from './core-prop.ts';
import type { Gate } from './gate.ts';
import type { Idle } from './idle.ts';
import type { Journal } from './journal.ts';
import type { Lease, Session } from './lease.ts';
import { type FreeRunning, measureCurrent } from './measure-current.ts';
import { EndSearch, type Ends } from './measure-ends.ts';
import { Probe, type Script, TAKEN } from './measure-probe.ts';
import { SILENCE_S } from './performer.ts';
import type { Sense } from './senses.ts';
import { CAPTURE_STEP_DEG, type Servo } from './servo.ts';

/** From an end to the limit that is proposed (deg), unless asked otherwise. */
const MARGIN_DEG = 2;
/** A push draws this share of the way from moving to stall current, at least. Chosen, no source. */
const PUSH_SHARE = 0.5;
/** What is proposed above the free-running current: a share of the way to the stall current, or of itself. */
const OVER_SHARE = 0.3;
const OVER_FREE_SHARE = 0.5;
const OVER_LEAST_A = 0.05;
/** So many times the scatter of readings is no push. */
const OVER_NOISE = 6;

type Measured =
  | { what: 'current'; current: FreeRunning & { pushOverA: number } }
  | { what: 'ends'; ends: Ends };

/** What measuring needs from the core. */
interface MeasureHost {
  readonly body: Body;
  readonly gate: Gate;
  readonly idle: Idle;
  readonly journal: Journal;
  readonly lease: Lease;
  readonly prop: CoreProp;
  /** The version of the prop file that is in use. */
  readonly version: string;
  /** Time of the last tick (s, ms). */
  readonly nowS: number;
  readonly nowMs: number;
  byHand(channels: ReadonlySet<Actuator>, who: string): void;
}

/** A measurement: one servo, one person who holds the button. */
interface Run {
  id: number;
  session: Session;
  servo: Servo;
  sense: Sense;
  what: 'current' | 'ends';
  marginDeg: number;
  probe: Probe;
  script: Script<Measured>;
  search: EndSearch | undefined;
  startedS: number;
  heardS: number;
  /** The versions of the prop file that it holds for: that it is of, and those that it has made. */
  versions: Set<string>;
  endedS: number | undefined;
  refusal: Refusal | undefined;
  measured: Measured | undefined;
  accepted: MeasurePart[];
}

type State = Result<'measure.hold'>;

/**
 * Servos measured by themselves, hold-to-run: a script goes on once a tick while `hold` comes. When it does
 * not, or anything is not as it should be, the script ends and the servo backs off. A script that has ended
 * never starts again. Every move passes the gate, which lets nothing else move meanwhile.
 */
export class Measuring {
  readonly #core: MeasureHost;
  #run: Run | undefined;
  /** The last one, running or ended. */
  #last: Run | undefined;
  #count = 0;

  constructor(core: MeasureHost) {
    this.#core = core;
  }

  get running(): boolean {
    return this.#run !== undefined;
  }

  /** @throws Refusal; nothing has moved then */
  begin({ channel, what, marginDeg }: Params<'measure.begin'>, session: Session): State {
    const core = this.#core;
    const servo = core.body.servo(channel);
    if (this.#run)
      throw new Refusal(
        'measure.running',
        `${this.#run.servo.name} is being measured; release it first`,
        { channel: this.#run.servo.name, run: this.#run.id },
      );
    const sense = this.#senseOf(servo, 'current');
    if (!sense)
      throw new Refusal(
        'measure.no-sensor',
        `nothing measures the current of ${channel} alone; add a sense: { kind: current, channel: ${channel} }`,
        { channel },
      );
    const other = core.body.servos.find((one) => one !== servo && (one.moving || one.delayed));
    if (other)
      throw new Refusal('jog.others-move', `${other.name} is moving; wait until it stands still`, {
        channel,
        moving: other.name,
      });
    if (servo.moving || servo.delayed)
      throw new Refusal('jog.moving', `${channel} is moving; wait until it stands still`, {
        channel,
        value: tidy(servo.setpoint.pos),
        target: tidy(servo.targetDeg),
      });
    core.byHand(new Set([servo]), session.client);
    const angle = this.#senseOf(servo, 'position');
    const probe = new Probe(core, servo, sense, angle, session.client);
    const mostA = this.#mostA(servo, sense);
    const search = what === 'ends' ? new EndSearch(probe, mostA) : undefined;
    const { nowS, version } = core;
    const run: Run = {
      ...{ id: ++this.#count, session, servo, sense, what, probe, search },
      versions: new Set([version]),
      marginDeg: marginDeg ?? MARGIN_DEG,
      script: search ? findEnds(search) : this.#findCurrent(probe, servo, mostA),
      ...{ startedS: nowS, heardS: nowS, endedS: undefined, refusal: undefined },
      ...{ measured: undefined, accepted: [] },
    };
    this.#run = run;
    this.#last = run;
    core.gate.measured = servo;
    return this.#stateOf(run);
  }

  /** The button is still held. @throws Refusal `measure.unknown` */
  hold(id: number, session: Session): State {
    const run = this.#of(id, session);
    run.heardS = this.#core.nowS;
    return this.#stateOf(run);
  }

  /** The button is released. @throws Refusal `measure.unknown` */
  release(id: number, session: Session): State {
    const run = this.#of(id, session);
    if (run === this.#run) this.#letGo('the button was released');
    return this.#stateOf(run);
  }

  /** Once a tick, after the readings. @param free whether things may move */
  tick(free: boolean): void {
    const run = this.#run;
    if (!run) return;
    const { lease, nowS, prop, idle } = this.#core;
    idle.disturb(nowS);
    if (!free || lease.holder?.id !== run.session.id) {
      this.#end(new Refusal('measure.released', 'the prop may no longer move', {}), false);
      return;
    }
    const silenceS = Math.min(SILENCE_S, prop.link.timeoutMs / 2000);
    if (nowS - run.heardS > silenceS) {
      this.#letGo(`nobody has held the button for ${silenceS} s`);
      return;
    }
    try {
      run.probe.look();
      const { done, value } = run.script.next();
      if (done) this.#finish(run, value);
    } catch (error) {
      if (!(error instanceof Refusal)) throw error;
      this.#end(error, error.word !== TAKEN);
    }
  }

  /** What is to be written. @throws Refusal `measure.nothing`, `measure.outdated` */
  editsOf(
    { run: id, parts, date }: Params<'measure.accept'>,
    session: Session,
  ): { edits: Edit[]; version: string; what: string; done: (version: string) => State } {
    const run = this.#of(id, session);
    const { servo, sense, measured } = run;
    const proposed = this.#proposed(run);
    if (!measured)
      throw new Refusal('measure.nothing', 'this measurement has no result', { run: id });
    if (!run.versions.has(this.#core.version))
      throw new Refusal(
        'measure.outdated',
        'the prop file has changed since this was measured; measure it again',
        { run: id },
      );
    const at = (...keys: string[]) => ['channels', servo.name, ...keys];
    const all: Partial<Record<MeasurePart, Edit[]>> = {};
    if (measured.what === 'current') {
      const { risingA, fallingA, pushOverA } = measured.current;
      const freeRunning = { risingA, fallingA };
      const spec = this.#core.prop.channels[servo.name] as ServoChannel;
      const of = measuredOf('freeRunning', { ...spec, freeRunning });
      all.current = [
        { path: at('freeRunning'), value: freeRunning },
        { path: at('measured', 'freeRunning'), value: { date, of } },
        { path: ['senses', sense.name, 'pushOverA'], value: pushOverA },
      ];
    } else {
      const { limitsDeg, envelopeUs, marks, pushAboveA } = proposed!;
      if (limitsDeg) all.limits = [{ path: at('limitsDeg'), value: limitsDeg }];
      if (envelopeUs) all.envelope = [{ path: at('envelopeUs'), value: envelopeUs }];
      if (marks)
        all.marks = Object.entries(marks).map(([mark, value]) => ({
          path: at('marks', mark),
          value,
        }));
      if (pushAboveA !== undefined)
        all.push = [{ path: ['senses', sense.name, 'pushAboveA'], value: pushAboveA }];
    }
    const wanted = parts ?? (Object.keys(all) as MeasurePart[]);
    const edits = wanted.flatMap((part) => all[part] ?? []);
    const missing = wanted.find((part) => !all[part]);
    if (missing !== undefined || edits.length === 0)
      throw new Refusal('measure.nothing', `this measurement proposes no ${missing ?? 'change'}`, {
        run: id,
      });
    return {
      edits,
      version: this.#core.version,
      what: `${wanted.join(', ')} of ${servo.name}, as measured`,
      done: (version) => {
        run.versions.add(version);
        run.accepted = [...new Set([...run.accepted, ...wanted])];
        return this.#stateOf(run);
      },
    };
  }

  #of(id: number, session: Session): Run {
    const run = this.#last;
    if (run?.id === id && run.session.id === session.id) return run;
    throw new Refusal('measure.unknown', `there is no measurement ${id} of this session`, {
      run: id,
    });
  }

  #senseOf(servo: Servo, kind: 'current' | 'position'): Sense | undefined {
    return this.#core.body.senses.list.find(
      ({ entry }) => entry.kind === kind && entry.channel === servo.name,
    );
  }

  /** A current that is a push in any case (A), as far as the file says so. */
  #mostA(servo: Servo, sense: Sense): number {
    const { busyA, stallA } = servo.draw;
    const { entry } = sense;
    const given = entry.kind === 'current' ? entry.pushAboveA : undefined;
    const drawA = stallA > busyA ? busyA + PUSH_SHARE * (stallA - busyA) : undefined;
    return Math.min(given ?? Number.POSITIVE_INFINITY, drawA ?? Number.POSITIVE_INFINITY);
  }

  *#findCurrent(probe: Probe, servo: Servo, mostA: number): Script<Measured> {
    const found = yield* measureCurrent(probe, mostA);
    const freeA = Math.max(found.risingA, found.fallingA);
    const { stallA } = servo.draw;
    const share = stallA > freeA ? OVER_SHARE * (stallA - freeA) : OVER_FREE_SHARE * freeA;
    const pushOverA = tidy(Math.max(share, OVER_LEAST_A, OVER_NOISE * found.noiseA), 3);
    const rounded = {
      risingA: tidy(found.risingA, 3),
      fallingA: tidy(found.fallingA, 3),
      standingA: Math.max(0, tidy(found.standingA, 3)),
      noiseA: found.noiseA,
    };
    return { what: 'current', current: { ...rounded, pushOverA } };
  }

  #letGo(why: string): void {
    this.#end(new Refusal('measure.released', why, {}), true);
  }

  #finish(run: Run, measured: Measured): void {
    run.measured = measured;
    this.#close(run);
    const text =
      measured.what === 'current'
        ? `${run.servo.name} draws up to ${measured.current.risingA} A rising and ${measured.current.fallingA} A falling`
        : `${run.servo.name} ends at ${endText(measured.ends.low)} and ${endText(measured.ends.high)}`;
    this.#core.journal.add(run.session.client, 'measure', text, { channel: run.servo.name });
  }

  #end(refusal: Refusal, backOff: boolean): void {
    const run = this.#run!;
    run.refusal = refusal;
    run.script.return(undefined as never);
    this.#close(run);
    const toDeg = backOff ? this.#backOff(run) : undefined;
    const goes = toDeg === undefined ? '' : `; it backs off to ${tidy(toDeg, 1)} deg`;
    const text = `measuring ${run.servo.name} has ended: ${refusal.message}${goes}`;
    this.#core.journal.add(run.session.client, 'measure', text, {
      channel: run.servo.name,
      deg: tidy(run.servo.setpoint.pos),
    });
  }

  #close(run: Run): void {
    run.endedS = this.#core.nowS;
    this.#run = undefined;
    this.#core.gate.measured = undefined;
  }

  /** From where it may push, back inside; elsewhere it decelerates. Where it goes (deg). */
  #backOff({ servo, search, probe, session, refusal }: Run): number | undefined {
    const { gate, nowS } = this.#core;
    const isLetGo = refusal?.word === 'measure.released';
    const way = search || isLetGo ? 0 : probe.way;
    const backOffDeg = search?.backOffDeg;
    if (way === 0 && backOffDeg === undefined) {
      servo.halt();
      return undefined;
    }
    try {
      if (backOffDeg !== undefined) {
        const by = backOffDeg - gate.jogsFrom(servo);
        return gate.jog(servo, by, true, session.client, nowS).targetDeg;
      }
      const [low, high] = servo.limitsDeg;
      const targetDeg = clamp(servo.setpoint.pos - way * probe.backDeg, low, high);
      gate.move([{ servo, targetDeg }], 0, session.client, nowS);
      return targetDeg;
    } catch (error) {
      if (!(error instanceof Refusal)) throw error;
      servo.halt();
      return undefined;
    }
  }

  #proposed({ servo, measured, marginDeg }: Run): NonNullable<State['proposed']> | undefined {
    if (measured?.what !== 'ends') return undefined;
    const { low, high, creepingA, pushingA } = measured.ends;
    const [softLow, softHigh] = servo.limitsDeg;
    // Rounded to the inside.
    const lowDeg = low.stop ? upTo(low.deg + marginDeg) : Math.max(softLow, upTo(low.deg));
    const highDeg = high.stop ? downTo(high.deg - marginDeg) : Math.min(softHigh, downTo(high.deg));
    const pulses = [servo.mapping.toPulseUs(low.deg), servo.mapping.toPulseUs(high.deg)];
    const envelopeUs = [
      Math.ceil(Math.min(...pulses) - 1e-6),
      Math.floor(Math.max(...pulses) + 1e-6),
    ];
    const proposed: NonNullable<State['proposed']> = {};
    if (lowDeg < highDeg) {
      proposed.limitsDeg = [lowDeg, highDeg];
      proposed.marks = marksOf(servo, lowDeg, highDeg);
    }
    if (low.stop || high.stop) proposed.envelopeUs = envelopeUs;
    const { risingA = 0, fallingA = 0 } = freeRunningOf(servo.spec) ?? {};
    const freeA = Math.max(creepingA, servo.draw.busyA, risingA, fallingA);
    if (pushingA > freeA * 1.1 + OVER_LEAST_A / 2)
      proposed.pushAboveA = Math.ceil(50 * (freeA + pushingA)) / 100;
    return proposed;
  }

  #stateOf(run: Run): State {
    const { id, servo, what, measured, refusal, startedS, endedS, accepted, sense } = run;
    const proposed = this.#proposed(run);
    return {
      ...{ run: id, channel: servo.name, what, running: run === this.#run },
      ranS: tidy((endedS ?? this.#core.nowS) - startedS, 1),
      value: tidy(servo.setpoint.pos),
      ...(refusal && { ended: { code: refusal.word, reason: refusal.message } }),
      ...(measured?.what === 'current' && {
        current: { ...currentOf(measured), sense: sense.name },
      }),
      ...(measured?.what === 'ends' && { ends: endsOf(measured.ends, servo) }),
      ...(proposed && { proposed }),
      ...(accepted.length > 0 && { accepted }),
    };
  }
}

function* findEnds(search: EndSearch): Script<Measured> {
  return { what: 'ends', ends: yield* search.run() };
}

function currentOf({ current }: Extract<Measured, { what: 'current' }>) {
  const { risingA, fallingA, standingA, pushOverA } = current;
  return { risingA, fallingA, standingA, pushOverA };
}

function endsOf({ low, high, creepingA, standingA, pushingA }: Ends, { draw }: Servo) {
  const margin = (draw.stallA - standingA) / (creepingA - standingA);
  return {
    low: { deg: tidy(low.deg, 2), stop: low.stop },
    high: { deg: tidy(high.deg, 2), stop: high.stop },
    creepingA: tidy(creepingA, 3),
    standingA: tidy(standingA, 3),
    ...(!Number.isNaN(pushingA) && { pushingA: tidy(pushingA, 3) }),
    ...(draw.stallA > creepingA && { torqueMargin: tidy(margin, 1) }),
  };
}

/** `shut` and `open` keep their order where the servo has both; else `low` and `high`. */
function marksOf({ marks }: Servo, lowDeg: number, highDeg: number): Record<string, number> {
  const [shut, open] = [marks.get('shut'), marks.get('open')];
  if (shut === undefined || open === undefined) return { low: lowDeg, high: highDeg };
  return shut < open ? { shut: lowDeg, open: highDeg } : { shut: highDeg, open: lowDeg };
}

function upTo(deg: number): number {
  return tidy(Math.ceil(deg / CAPTURE_STEP_DEG - 1e-6) * CAPTURE_STEP_DEG, 2);
}

function downTo(deg: number): number {
  return tidy(Math.floor(deg / CAPTURE_STEP_DEG + 1e-6) * CAPTURE_STEP_DEG, 2);
}

function endText({ deg, stop }: Ends['low']): string {
  return `${tidy(deg, 1)} deg${stop ? '' : ' (the pulse envelope; it met nothing)'}`;
}
