import { didYouMean } from '../prop/finding.ts';
import type { Edit } from '../prop/save.ts';
import type { Prop } from '../prop/schema.ts';
import { Refusal } from '../shared/errors.ts';
import { flagNames } from '../shared/telemetry.ts';
import { clamp, tidy } from '../shared/units.ts';
import { parseColour, type Rgb } from '../sums/light.ts';
import type { Actuator } from './body.ts';
import type { Core } from './core.ts';
import type { Move, Started } from './gate.ts';
import type { Session } from './lease.ts';
import type { Lamp, RgbLight } from './light.ts';
import type { Relay } from './relay.ts';
import type { Method, Params, Result } from './requests.ts';
import type { Servo } from './servo.ts';
import { boardInfo, findWires } from './wiring.ts';

/** Writes captured values into the prop file; see prop/save.ts. */
export interface PropEditor {
  change(edits: Edit[]): Promise<Prop>;
  undo(): Promise<{ undone: string; edits: Edit[] }>;
}

/** The largest size of a wiggle (deg), and the length of a blink or click (s), for identifying. */
const WIGGLE_DEG = 3;
const BLINK_S = 0.5;
/** Captured angles are written in steps of this (deg). */
const CAPTURE_STEP_DEG = 0.01;
const WIGGLE_SPEED_DEG_S = 15;

type Handler<M extends Method> = (
  params: Params<M>,
  session: Session,
) => Result<M> | Promise<Result<M>>;

/** Methods that a session may use without the lease. */
const FREE: ReadonlySet<Method> = new Set([
  'lease.take',
  'lease.release',
  'park',
  'stop',
  'channel.list',
  'loom.find',
  'board.list',
  'journal.read',
]);

/** Every request to the core, from a session that the gateway has let in. */
export class Commands {
  readonly #core: Core;
  readonly #editor: PropEditor;
  readonly #sessions = new Map<string, Session>();
  readonly #refusals: { second: number; count: number } = { second: 0, count: 0 };

  constructor(core: Core, editor: PropEditor) {
    this.#core = core;
    this.#editor = editor;
  }

  open(session: Session): void {
    this.#sessions.set(session.id, session);
  }

  /** The session's link is gone; whatever it asks from now on is void. */
  gone(sessionId: string): void {
    this.#sessions.delete(sessionId);
    this.#core.drop(sessionId);
  }

  /** Ends a session whose link the core holds for lost. */
  forget(sessionId: string): void {
    this.#sessions.delete(sessionId);
  }

  /** The gateway died, and every session with it. */
  allGone(): void {
    for (const id of [...this.#sessions.keys()]) this.gone(id);
  }

  /** Carries out one request. @throws Refusal when it cannot be done; nothing has moved then */
  async call<M extends Method>(
    sessionId: string,
    method: M,
    params: Params<M>,
  ): Promise<Result<M>> {
    const session = this.#sessions.get(sessionId);
    if (!session)
      throw new Refusal('notAuthorised', 'this session is over; open a new one', {
        session: sessionId,
      });
    try {
      this.#numbersMustBeFinite(params);
      if (!FREE.has(method)) this.#core.lease.require(session);
      return await (this.#handlers[method] as Handler<M>)(params, session);
    } catch (error) {
      if (error instanceof Refusal) this.#tellRefusal(session, method, error);
      throw error;
    }
  }

  readonly #handlers: { [M in Method]: Handler<M> } = {
    'lease.take': (_params, session) => {
      this.#core.take(session);
      return { holder: session.client };
    },
    'lease.release': ({ graceS = 0 }, session) => {
      this.#core.release(session, graceS);
      return { holder: null };
    },
    wake: async ({ wait }, session) => {
      this.#core.wake(session.client);
      if (wait) await this.#untilCondition('waking');
      return { condition: this.#core.condition };
    },
    park: async ({ wait }, session) => {
      this.#core.park(session.client);
      if (wait) await this.#untilCondition('parking');
      return { condition: this.#core.condition };
    },
    reset: async (_params, session) => {
      await this.#core.reset(session.client);
      return { condition: this.#core.condition };
    },
    stop: ({ category }, session) => {
      this.#core.stop(category, session.client);
      return { condition: this.#core.condition };
    },
    'channel.list': () => ({
      channels: Object.fromEntries(
        this.#core.body.channels.map((channel) => [channel.name, this.#info(channel)]),
      ),
      groups: this.#core.prop.groups,
      poses: Object.keys(this.#core.prop.poses),
    }),
    'channel.move': async ({ channel, to, overS, wait }, session) => {
      this.#core.mustBeLive();
      const servo = this.#core.body.servo(channel);
      const toDeg = this.#degOf(servo, to);
      const started = await this.#move([{ servo, toDeg }], overS, session, wait);
      this.#tell(session, 'channel.move', `${channel} to ${to}`, { channel, to: toDeg });
      return { target: toDeg, ...started };
    },
    'channel.jog': ({ channel, byDeg, byUs, beyondLimits = false }, session) => {
      this.#core.mustBeLive();
      const { gate, nowS } = this.#core;
      const servo = this.#core.body.servo(channel);
      const by = byDeg ?? this.#degForUs(servo, byUs);
      const { target, limited } = gate.jog(servo, by, beyondLimits, session.client, nowS);
      this.#tell(session, 'channel.jog', `${channel} by ${tidy(by)} deg`, { channel, target });
      return { target: tidy(target), pulseUs: servo.pulseAt(target), limited };
    },
    'channel.switch': ({ channel, on, forS }, session) => {
      this.#core.mustBeLive();
      const relay = this.#core.body.relay(channel);
      this.#core.gate.switch(relay, on, forS ?? Number.POSITIVE_INFINITY, this.#core.nowS);
      this.#tell(session, 'channel.switch', `${channel} ${on ? 'on' : 'off'}`, { channel, on });
      return { on };
    },
    'channel.colour': ({ channel, to, fadeS = 0 }, session) => {
      this.#core.mustBeLive();
      const light = this.#core.body.rgb(channel);
      this.#core.gate.colour(light, this.#colourOf(to), fadeS, this.#core.nowS);
      this.#tell(session, 'channel.colour', `${channel} to ${light.targetHex}`, { channel, to });
      return { to: light.targetHex };
    },
    'channel.dim': ({ channel, to, fadeS = 0 }, session) => {
      this.#core.mustBeLive();
      const lamp = this.#core.body.lamp(channel);
      this.#levelMustBeRight(channel, to);
      this.#core.gate.dim(lamp, to, fadeS, this.#core.nowS);
      this.#tell(session, 'channel.dim', `${channel} to ${to}`, { channel, to });
      return { to };
    },
    'channel.identify': ({ channel }, session) => {
      this.#core.mustBeLive();
      const actuator = this.#core.body.channel(channel);
      const durationS = this.#identify(actuator, session);
      this.#tell(session, 'channel.identify', `${channel} shows itself`, { channel });
      return { durationS };
    },
    'group.move': async ({ group, to, overS, wait }, session) => {
      this.#core.mustBeLive();
      const members = this.#core.body.groups.get(group);
      if (!members)
        throw new Refusal(
          'noSuchThing',
          `there is no group ${group}; ${didYouMean(group, this.#core.body.groups.keys())}`,
          { group },
        );
      const moves = members.map((servo) => ({ servo, toDeg: this.#degOf(servo, to) }));
      const started = await this.#move(moves, overS, session, wait);
      this.#tell(session, 'group.move', `${group} to ${to}`, { group, to });
      return started;
    },
    'pose.go': async ({ pose, overS, wait }, session) => {
      this.#core.mustBeLive();
      const started = await this.#pose(pose, overS, session, wait);
      this.#tell(session, 'pose.go', `pose ${pose}`, { pose });
      return started;
    },
    'mark.capture': async ({ channel, mark }, session) => {
      const servo = this.#standing(channel);
      const deg = this.#withinLimits(servo);
      await this.#capture([{ path: ['channels', channel, 'marks', mark], value: deg }]);
      this.#tell(session, 'mark.capture', `${channel} ${mark} is ${deg} deg`, {
        channel,
        mark,
        deg,
      });
      return { deg, pulseUs: servo.pulseAt(deg) };
    },
    'limits.capture': async ({ channel, end }, session) => {
      const servo = this.#standing(channel);
      const deg = this.#roundedInside(servo);
      const [low, high] = servo.limitsDeg;
      const limitsDeg: [number, number] = end === 'low' ? [deg, high] : [low, deg];
      if (limitsDeg[0] >= limitsDeg[1])
        throw new Refusal(
          'outOfLimits',
          `the low limit must be below the high one; ${channel} stands at ${deg} deg, its limits are ${tidy(low)} to ${tidy(high)} deg`,
          { channel, value: deg, limitsDeg: [low, high] },
        );
      const { parkDeg } = servo;
      if (parkDeg < limitsDeg[0] || parkDeg > limitsDeg[1])
        throw new Refusal(
          'outOfLimits',
          `${channel} parks at ${tidy(parkDeg)} deg, which limits of ${tidy(limitsDeg[0])} to ${tidy(limitsDeg[1])} deg would leave outside`,
          { channel, value: tidy(parkDeg), limitsDeg },
        );
      const path = ['channels', channel, 'limitsDeg'];
      await this.#editor.change([
        servo.spec.limitsDeg
          ? { path: [...path, end === 'low' ? 0 : 1], value: deg }
          : { path, value: limitsDeg },
      ]);
      // The other end may have been captured while the file was written.
      servo.setLimits(end === 'low' ? [deg, servo.limitsDeg[1]] : [servo.limitsDeg[0], deg]);
      this.#tell(session, 'limits.capture', `${channel} ${end} limit is ${deg} deg`, {
        channel,
        limitsDeg,
      });
      return { limitsDeg };
    },
    'park.capture': async ({ channel, mark }, session) => {
      const servo = this.#standing(channel);
      const deg = mark === undefined ? this.#withinLimits(servo) : this.#degOf(servo, mark);
      const to = mark ?? deg;
      await this.#capture([{ path: ['channels', channel, 'park', 'to'], value: to }]);
      this.#tell(session, 'park.capture', `${channel} parks at ${to}`, { channel, to });
      return { to, deg };
    },
    'capture.undo': async (_params, session) => {
      this.#core.mustBeLive();
      const { undone, edits } = await this.#editor.undo();
      this.#adopt(edits);
      this.#tell(session, 'capture.undo', undone, {});
      return { undone };
    },
    'loom.find': ({ text }) => ({ wires: findWires(this.#core.prop, text) }),
    'board.list': () => ({
      boards: Object.fromEntries(
        this.#core.body.boards.map((board) => [board.name, boardInfo(this.#core.prop, board)]),
      ),
    }),
    'journal.read': ({ since, limit }) => ({ entries: this.#core.journal.read(since, limit) }),
  };

  // --- moving -------------------------------------------------------------------------------------

  async #move(
    moves: readonly Move[],
    overS: number | undefined,
    session: Session,
    wait: boolean | undefined,
  ): Promise<Started> {
    const { durationS, delayed } = this.#core.gate.move(
      moves,
      overS ?? 0,
      session.client,
      this.#core.nowS,
    );
    if (wait) await this.#untilArrived(moves);
    return { durationS: tidy(durationS, 4), ...(delayed && { delayed }) };
  }

  /** @throws Refusal `condition` when something else took the servos over, or stopped them */
  #untilArrived(moves: readonly Move[]): Promise<true> {
    // A delayed move has not been planned yet; it will be the next plan.
    const plans = new Map(moves.map(({ servo }) => [servo, servo.plans + (servo.delayed ? 1 : 0)]));
    return this.#core.waits.until(() => {
      for (const { servo, toDeg } of moves) {
        if (servo.delayed) return undefined;
        // What was waiting for its rail may have been replaced before it was ever planned.
        const elsewhere = !servo.moving && servo.state.pos !== toDeg;
        if (servo.plans !== plans.get(servo) || servo.interlocked || elsewhere)
          throw new Refusal('condition', this.#interruption(servo), {
            channel: servo.name,
            value: tidy(servo.state.pos),
            target: toDeg,
            condition: this.#core.condition,
          });
        if (servo.moving) return undefined;
      }
      return true;
    });
  }

  #interruption(servo: Servo): string {
    if (servo.interlocked) return `${servo.name} was held by an interlock on the way`;
    const { condition } = this.#core;
    return condition === 'live'
      ? `another command took ${servo.name} over on the way`
      : `${servo.name} did not arrive: the prop is ${condition}`;
  }

  async #untilCondition(leaves: 'waking' | 'parking'): Promise<void> {
    const wanted = leaves === 'waking' ? 'live' : 'parked';
    await this.#core.waits.until(() => {
      const { condition } = this.#core;
      if (condition === leaves) return undefined;
      if (condition === wanted) return true;
      throw new Refusal('condition', `the prop is ${condition}, not ${wanted}`, { condition });
    });
  }

  async #pose(
    name: string,
    overS: number | undefined,
    session: Session,
    wait: boolean | undefined,
  ): Promise<Started> {
    const { prop, body, gate, nowS } = this.#core;
    if (!Object.hasOwn(prop.poses, name))
      throw new Refusal(
        'noSuchThing',
        `there is no pose ${name}; ${didYouMean(name, Object.keys(prop.poses))}`,
        { pose: name },
      );
    const moves: Move[] = [];
    const relays: [Relay, boolean][] = [];
    const lights: (readonly [Lamp | RgbLight, number])[] = [];
    const fades: (() => void)[] = [];
    for (const [channel, value] of Object.entries(prop.poses[name]!)) {
      const actuator = body.channel(channel);
      if (actuator.kind === 'servo')
        moves.push({ servo: actuator, toDeg: this.#degOf(actuator, value) });
      else if (actuator.kind === 'relay') {
        relays.push([actuator, value === 'on']);
        if (value === 'on') gate.mustBeAbleToClose(actuator, nowS);
      } else if (actuator.kind === 'lamp') {
        const level = Number(value);
        this.#levelMustBeRight(channel, level);
        gate.mustBeAbleToDim(actuator, level, nowS);
        lights.push([actuator, actuator.ampsAt(level)]);
        fades.push(() => gate.dim(actuator, level, overS ?? 0, nowS));
      } else {
        const colour = this.#colourOf(String(value));
        gate.mustBeAbleToColour(actuator, colour, nowS);
        lights.push([actuator, actuator.ampsAt(colour)]);
        fades.push(() => gate.colour(actuator, colour, overS ?? 0, nowS));
      }
    }
    gate.mustBeAbleToMove(moves, nowS);
    const closing = relays.filter(([, on]) => on).map(([relay]) => relay);
    gate.mustFitTogether(moves, closing, lights, nowS);
    for (const [relay, on] of relays) gate.switch(relay, on, Number.POSITIVE_INFINITY, nowS);
    for (const fade of fades) fade();
    // Last, so that the servos wait if the rail is full now.
    const started =
      moves.length > 0 ? gate.move(moves, overS ?? 0, session.client, nowS) : undefined;
    if (wait && moves.length > 0) await this.#untilArrived(moves);
    return { ...started, durationS: tidy(started?.durationS ?? overS ?? 0, 4) };
  }

  #degOf(servo: Servo, to: number | string): number {
    if (typeof to === 'number') return to;
    const deg = servo.marks.get(to);
    if (deg !== undefined) return deg;
    throw new Refusal(
      'noSuchThing',
      `${servo.name} has no mark ${to}; ${didYouMean(to, servo.marks.keys())}`,
      { channel: servo.name, mark: to },
    );
  }

  /** A step in us as a step in deg, where the servo stands. */
  #degForUs(servo: Servo, byUs: number | undefined): number {
    if (byUs === undefined)
      throw new Refusal('invalidParams', 'give byDeg or byUs', { channel: servo.name });
    const fromDeg = this.#core.gate.jogsFrom(servo);
    const { calibration } = servo;
    return calibration.toDeg(calibration.toPulseUs(fromDeg) + byUs) - fromDeg;
  }

  /** A servo whose position may be captured: live, energised and standing still. */
  #standing(channel: string): Servo {
    this.#core.mustBeLive();
    const servo = this.#core.body.servo(channel);
    if (!servo.moving && !servo.delayed) return servo;
    throw new Refusal('condition', `${channel} is moving; capture when it stands still`, {
      channel,
      value: tidy(servo.state.pos),
      target: tidy(servo.target),
    });
  }

  /** Where it stands (deg), in whole capture steps, and not outside its envelope by rounding. */
  #roundedInside(servo: Servo): number {
    const [low, high] = servo.envelopeDeg;
    const deg = tidy(servo.state.pos, 2);
    if (deg > high) return tidy(deg - CAPTURE_STEP_DEG, 2);
    return deg < low ? tidy(deg + CAPTURE_STEP_DEG, 2) : deg;
  }

  /** The gateway lets no such number through; one that came here all the same would never end. */
  #numbersMustBeFinite(params: object): void {
    for (const [name, value] of Object.entries(params))
      if (typeof value === 'number' && !Number.isFinite(value))
        throw new Refusal('invalidParams', `${name} must be a finite number`, {
          [name]: String(value),
        });
  }

  /** Where a servo stands, as it is captured: rounded (deg). @throws Refusal `outOfLimits` */
  #withinLimits(servo: Servo): number {
    const [low, high] = servo.limitsDeg;
    const at = servo.state.pos;
    if (!servo.beyond) return clamp(tidy(at, 2), low, high);
    throw new Refusal(
      'outOfLimits',
      `${servo.name} stands at ${tidy(at)} deg, outside its limits ${tidy(low)} to ${tidy(high)} deg; capture the limit first, or go back inside`,
      { channel: servo.name, value: tidy(at), limitsDeg: [low, high] },
    );
  }

  /** Writes captured values into the prop file, then goes by them. */
  async #capture(edits: Edit[]): Promise<void> {
    await this.#editor.change(edits);
    this.#adopt(edits);
  }

  /** Takes over marks, limits and park positions that now stand in the prop file, and nothing else. */
  #adopt(edits: readonly Edit[]): void {
    for (const { path, value } of edits) {
      const servo = this.#core.body.servo(String(path[1]));
      const [, , what, which] = path;
      if (what === 'marks') {
        if (value === undefined) servo.marks.delete(String(which));
        else servo.marks.set(String(which), value as number);
      } else if (what === 'limitsDeg') servo.captureLimits(which, value);
      else servo.parkTo = value as number | string;
    }
  }

  #colourOf(text: string): Rgb {
    const colour = parseColour(text);
    if (colour) return colour;
    throw new Refusal(
      'invalidParams',
      `${JSON.stringify(text.slice(0, 40))} is no CSS colour; try "#ffcc00", "orange" or "oklch(75% 0.15 80)"`,
      { to: text.slice(0, 80) },
    );
  }

  #levelMustBeRight(channel: string, to: number): void {
    if (to >= 0 && to <= 1) return;
    throw new Refusal('outOfLimits', `${channel} goes from 0 to 1; ${tidy(to)} is outside`, {
      channel,
      value: to,
      limit: to < 0 ? 0 : 1,
    });
  }

  // --- identifying --------------------------------------------------------------------------------

  /** Wiggles, blinks or clicks once, through the gate; returns how long it takes (s). */
  #identify(actuator: Actuator, session: Session): number {
    if (actuator.kind === 'servo') return this.#wiggle(actuator, session);
    if (actuator.kind === 'relay') return this.#click(actuator, session);
    return this.#blink(actuator);
  }

  /** Closes an open relay for a moment, or opens a closed one, unless somebody else switches it. */
  #click(relay: Relay, session: Session): number {
    const { gate, nowS, waits, lease } = this.#core;
    if (!relay.on) {
      gate.switch(relay, true, BLINK_S, nowS);
      return BLINK_S;
    }
    const { offAtS } = relay;
    gate.switch(relay, false, 0, nowS);
    const { changes } = relay;
    const clicking = waits.until(() => {
      const mine = relay.changes === changes && lease.holder?.id === session.id;
      if (!mine || this.#core.condition !== 'live') return true;
      const { nowS: thenS } = this.#core;
      if (thenS < nowS + BLINK_S) return undefined;
      if (offAtS > thenS) gate.switch(relay, true, offAtS - thenS, thenS);
      return true;
    });
    this.#inBackground(() => clicking);
    return BLINK_S;
  }

  #wiggle(servo: Servo, session: Session): number {
    const [low, high] = servo.limitsDeg;
    const home = clamp(servo.state.pos, low, high);
    const away = [home + WIGGLE_DEG, home - WIGGLE_DEG].map((deg) => clamp(deg, low, high));
    const stops = [...away, home];
    const overS = (2 * WIGGLE_DEG) / WIGGLE_SPEED_DEG_S;
    const go = (toDeg: number): Promise<true> => {
      const moves = [{ servo, toDeg }];
      this.#core.gate.move(moves, overS, session.client, this.#core.nowS);
      return this.#untilArrived(moves);
    };
    const first = go(stops[0]!);
    this.#inBackground(async () => {
      await first;
      for (const toDeg of stops.slice(1)) {
        this.#core.mustBeLive();
        await go(toDeg);
      }
    });
    return stops.length * overS;
  }

  #blink(light: Lamp | RgbLight): number {
    const { gate, waits } = this.#core;
    const show = (bright: boolean): void => {
      const { nowS } = this.#core;
      if (light.kind === 'lamp') gate.dim(light, bright ? 1 : 0, 0, nowS);
      else
        gate.colour(
          light,
          bright ? { red: 1, green: 1, blue: 1 } : { red: 0, green: 0, blue: 0 },
          0,
          nowS,
        );
    };
    const home = light.kind === 'lamp' ? light.value : { ...light.value };
    const restore = (): void => {
      if (light.kind === 'lamp') gate.dim(light, home as number, 0, this.#core.nowS);
      else gate.colour(light, home as Rgb, 0, this.#core.nowS);
    };
    const steps = [() => show(true), () => show(false), () => show(true), restore];
    const startS = this.#core.nowS;
    let done = 0;
    const next = (): void => {
      steps[done]!();
      done++;
    };
    next();
    let { fades } = light;
    const blinking = waits.until(() => {
      if (light.fades !== fades || this.#core.condition !== 'live') return true;
      if (this.#core.nowS < startS + done * BLINK_S) return undefined;
      next();
      ({ fades } = light);
      return done === steps.length ? true : undefined;
    });
    this.#inBackground(() => blinking);
    return (steps.length - 1) * BLINK_S;
  }

  /** What is still going on after its answer: whoever takes the channel over ends it. */
  #inBackground(work: () => Promise<unknown>): void {
    work().catch((error: Error) => {
      if (!(error instanceof Refusal)) this.#core.fail(error);
    });
  }

  // --- telling ------------------------------------------------------------------------------------

  #tell(session: Session, what: Method, text: string, values: Record<string, unknown>): void {
    this.#core.journal.add(session.client, what, text, values);
  }

  /** A client that asks in a loop for what it cannot have must not wash the journal away. */
  #tellRefusal(session: Session, method: Method, refusal: Refusal): void {
    const second = Math.floor(this.#core.nowS);
    if (second !== this.#refusals.second) Object.assign(this.#refusals, { second, count: 0 });
    if (++this.#refusals.count > 20) return;
    this.#core.journal.add(session.client, 'refused', `${method}: ${refusal.message}`, {
      method,
      code: refusal.code,
      ...refusal.values,
    });
  }

  #info(actuator: Actuator): Result<'channel.list'>['channels'][string] {
    const { body } = this.#core;
    const groups = [...body.groups].filter(([, members]) =>
      (members as Actuator[]).includes(actuator),
    );
    const common = {
      flags: flagNames(this.#core.flags(actuator)),
      groups: groups.map(([name]) => name),
      ...(actuator.spec.rail && { rail: actuator.spec.rail }),
      ...(actuator.spec.wire && { wire: actuator.spec.wire.label }),
    };
    switch (actuator.kind) {
      case 'servo':
        return {
          kind: 'servo',
          value: tidy(actuator.state.pos),
          target: tidy(actuator.target),
          ...common,
          park: { to: actuator.parkTo, then: actuator.parkThen },
          limitsDeg: [...actuator.limitsDeg],
          envelopeUs: [...actuator.envelopeUs],
          calibration: actuator.calibration.points.map(([us, deg]) => [us, deg]),
          marks: Object.fromEntries(actuator.marks),
          speedDegS: actuator.spec.speedDegS,
          accelDegS2: actuator.spec.accelDegS2,
          ...(actuator.spec.jerkDegS3 !== undefined && { jerkDegS3: actuator.spec.jerkDegS3 }),
          pulseUs: actuator.pulseUs,
          pushing: actuator.pushing,
        };
      case 'relay':
        return {
          kind: 'relay',
          value: actuator.on,
          target: actuator.on,
          ...common,
          park: { to: actuator.parkOn },
          ...(actuator.spec.duty && { duty: actuator.spec.duty }),
        };
      case 'lamp':
        return {
          kind: 'lamp',
          value: tidy(actuator.value, 4),
          target: tidy(actuator.target, 4),
          ...common,
          park: { to: actuator.spec.park.to },
          fadeS: actuator.spec.fadeS,
        };
      case 'rgb':
        return {
          kind: 'rgb',
          value: actuator.hex,
          target: actuator.targetHex,
          ...common,
          park: { to: actuator.spec.park.to },
          fadeS: actuator.spec.fadeS,
        };
    }
  }
}
