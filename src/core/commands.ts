import type { MethodRecord } from '../api/method.ts';
import { type CoreMethod, METHODS, type Params, type Result } from '../api/methods.ts';
import type { CueChange } from '../prop/cue-change.ts';
import type { Edit } from '../prop/edit-text.ts';
import type { Author } from '../prop/file/status.ts';
import { didYouMean } from '../prop/finding.ts';
import { Refusal } from '../shared/errors.ts';
import { plain } from '../shared/plain.ts';
import { clamp, tidy } from '../shared/units.ts';
import { TAKE_HZ } from '../sums/take-points.ts';
import {
  untilArrived,
  untilBegun,
  untilCondition,
  untilNoted,
  untilOver,
  untilSaved,
} from './completion.ts';
import type { Core } from './core.ts';
import type { CuePassage, PassageAsked } from './cue-passage.ts';
import type { Started } from './gate.ts';
import { Identifier } from './identify.ts';
import type { Session } from './lease.ts';
import { colourOf } from './light.ts';
import { channelsOf, opening, targetsOfPose } from './pose.ts';
import { capturePose } from './pose-capture.ts';
import { durationOf, LONGEST_TAKE_S, type Recording } from './recorder.ts';
import { CAPTURE_STEP_DEG, degOf, type Move, type Servo } from './servo.ts';
import type { Sound } from './sound.ts';

/** A recording or a take, and what would be saved of it. */
export type TakeShown = Pick<
  Result<'take.read'>,
  'channels' | 'durationS' | 'recorded' | 'simplified' | 'differenceDeg'
>;

/** Changes the prop file; what it answers is in use then, or waits until the prop is parked. */
export interface PropEditor {
  /** @throws Refusal when nothing was written, or says what was */
  capture(edits: Edit[], by: Author): Promise<{ version: string }>;
  undo(by: Author): Promise<{ undone: string }>;
  apply(params: Params<'prop.apply'>, by: Author): Promise<Result<'prop.apply'>>;
  cue(change: CueChange, version: string, by: Author): Promise<Result<'prop.apply'>>;
  beginPicture(params: Params<'picture.begin'>, by: Author): Promise<Result<'picture.begin'>>;
  endPicture(params: Params<'picture.end'>, by: Author): Promise<Result<'picture.end'>>;
  restore(version: string, base: string | undefined, by: Author): Promise<Result<'prop.restore'>>;
  beginSound(params: Params<'sound.begin'>, by: Author): Promise<Result<'sound.begin'>>;
  addSound(params: Params<'sound.add'>, by: Author): Promise<Result<'sound.add'>>;
  removeSound(params: Params<'sound.remove'>, by: Author): Promise<Result<'sound.remove'>>;
  followSound(params: Params<'sound.follow'>, by: Author): Promise<Result<'sound.follow'>>;
  /** Looks for boards on the I2C buses of the machine. */
  scanBoards(): Promise<Result<'board.scan'>>;
  /** Notes that a channel was maintained. */
  wearDone(channel: string, who: string, note: string): Promise<Result<'wear.done'>>;
  /** Works out a passage of a cue of the version that is in use. */
  passage(asked: PassageAsked, session: string): Promise<CuePassage>;
  /** Works out what would be saved of a recording, or of the take that is named, and draws both. */
  readTake(recording: Recording | undefined, params: Params<'take.read'>): Promise<TakeShown>;
  saveTake(
    recording: Recording | undefined,
    params: Params<'take.save'>,
    by: Author,
  ): Promise<Result<'take.save'>>;
}

type Handler<M extends CoreMethod> = (
  params: Params<M>,
  session: Session,
) => Result<M> | Promise<Result<M>>;

/** Every request to the core, from a session that the gateway has let in. */
export class Commands {
  readonly #core: Core;
  readonly #editor: PropEditor;
  readonly #sessions = new Map<string, Session>();
  readonly #identifier: Identifier;
  readonly #refusals: { second: number; count: number } = { second: 0, count: 0 };
  readonly #simulating: boolean;
  /** Counts what was asked of the whole prop and of cues. */
  #asked = 0;

  /** @param simulating whether clients may break a simulated board and press its inputs */
  constructor(core: Core, editor: PropEditor, simulating = false) {
    this.#core = core;
    this.#editor = editor;
    this.#simulating = simulating;
    this.#identifier = new Identifier(core);
  }

  open(session: Session): void {
    this.#sessions.set(session.id, session);
  }

  /** The session's link is gone; whatever it asks from now on is ignored. */
  gone(sessionId: string): void {
    this.#sessions.delete(sessionId);
    this.#core.drop(sessionId);
  }

  /** Ends a session whose link the core regards as lost. */
  forget(sessionId: string): void {
    this.#sessions.delete(sessionId);
  }

  /** The gateway died, and every session with it. */
  allGone(): void {
    for (const id of [...this.#sessions.keys()]) this.gone(id);
  }

  /** Carries out one request: the result as JSON. @throws Refusal as `call` does */
  async answer<M extends CoreMethod>(
    sessionId: string,
    method: M,
    params: Params<M>,
  ): Promise<string> {
    return JSON.stringify(await this.call(sessionId, method, params));
  }

  /** Carries out one request. @throws Refusal when it cannot be done; nothing has moved then */
  async call<M extends CoreMethod>(
    sessionId: string,
    method: M,
    params: Params<M>,
  ): Promise<Result<M>> {
    this.#core.catchUp();
    const session = this.#sessions.get(sessionId);
    if (!session)
      throw new Refusal('session.ended', 'this session is over; open a new one', {
        session: sessionId,
      });
    try {
      const record: MethodRecord = METHODS[method];
      this.#numbersMustBeFinite(params);
      if (record.lease) this.#core.lease.require(session);
      if (record.whole || method === 'lease.release') this.#asked++;
      const { journal } = this.#core;
      const { seq } = journal;
      const result = (this.#handlers[method] as Handler<M>)(params, session);
      // A request that changes nothing, such as a wake of a live prop, is recorded too.
      if (record.whole && journal.seq === seq)
        journal.add(session.client, method, `${method}: the prop is ${this.#core.condition}`);
      return await result;
    } catch (error) {
      if (error instanceof Refusal) this.#recordRefusal(session, method, error);
      throw error;
    }
  }

  readonly #handlers: { [M in CoreMethod]: Handler<M> } = {
    'lease.take': (_params, session) => {
      this.#core.take(session);
      return { holder: session.client };
    },
    'lease.release': ({ graceS = 0 }, session) => {
      this.#core.release(session, graceS);
      return { holder: null };
    },
    wake: async ({ wait, confirm }, session) => {
      this.#core.wake(session.client, confirm === 'unknown', true);
      if (wait) await untilCondition(this.#core, 'waking');
      return this.#core.shown;
    },
    park: async ({ wait }, session) => {
      this.#core.park(session.client);
      if (wait) await untilCondition(this.#core, 'parking');
      return this.#core.shown;
    },
    reset: async ({ confirm }, session) => {
      await this.#core.reset(session.client, session.id, confirm);
      return this.#core.shown;
    },
    stop: ({ category }, session) => {
      const { id, client: who } = session;
      this.#core.stop(category, who, 'asked for', { session: id, who });
      return this.#core.shown;
    },
    'lockout.set': async ({ reason = 'hands in the prop' }, session) => {
      this.#core.setLockout(session.client, plain(reason));
      return this.#lockout();
    },
    'lockout.clear': async ({ force = false, reason }, session) => {
      if (force && reason === undefined)
        throw new Refusal(
          'lockout.no-reason',
          'to force a lockout, say in "reason" how you know that nobody is in reach; it goes into the journal',
        );
      this.#core.clearLockout(session.client, force ? plain(reason!) : undefined);
      return this.#lockout();
    },
    'channel.move': async ({ channel, to, overS, wait }, session) => {
      this.#core.mustBeLive();
      const servo = this.#core.body.servo(channel);
      const targetDeg = degOf(servo, to);
      const started = await this.#move([{ servo, targetDeg }], overS, session, wait);
      this.#record(session, 'channel.move', `${channel} to ${to}`, { channel, to: targetDeg });
      return { target: targetDeg, ...started };
    },
    'channel.jog': ({ channel, byDeg, byUs, beyondLimits = false }, session) => {
      this.#core.mustBeLive();
      const { gate, nowS } = this.#core;
      const servo = this.#core.body.servo(channel);
      const by = byDeg ?? this.#degForUs(servo, byUs);
      const { targetDeg: target, limited } = gate.jog(
        servo,
        by,
        beyondLimits,
        session.client,
        nowS,
      );
      this.#core.byHand(new Set([servo]), session.client);
      this.#record(session, 'channel.jog', `${channel} by ${tidy(by)} deg`, { channel, target });
      return { target: tidy(target), pulseUs: servo.pulseAt(target), limited };
    },
    'channel.switch': async ({ channel, on, forS }, session) => {
      this.#core.mustBeLive();
      const relay = this.#core.body.relay(channel);
      this.#core.gate.switch(relay, on, forS ?? Number.POSITIVE_INFINITY, this.#core.nowS);
      this.#core.byHand(new Set([relay]), session.client);
      this.#record(session, 'channel.switch', `${channel} ${on ? 'on' : 'off'}`, { channel, on });
      if (on && relay.duty) await untilNoted(this.#core, relay);
      return { on: on && relay.on };
    },
    'channel.colour': ({ channel, to, fadeS = 0 }, session) => {
      this.#core.mustBeLive();
      const light = this.#core.body.rgb(channel);
      this.#core.gate.colour(light, colourOf(to), fadeS);
      this.#core.byHand(new Set([light]), session.client);
      this.#record(session, 'channel.colour', `${channel} to ${light.targetHex}`, { channel, to });
      return { to: light.targetHex };
    },
    'channel.dim': ({ channel, to, fadeS = 0 }, session) => {
      this.#core.mustBeLive();
      const lamp = this.#core.body.lamp(channel);
      this.#levelMustBeRight(channel, to);
      this.#core.gate.dim(lamp, to, fadeS);
      this.#core.byHand(new Set([lamp]), session.client);
      this.#record(session, 'channel.dim', `${channel} to ${to}`, { channel, to });
      return { to };
    },
    'sound.play': ({ channel, sound: name, volume }, session) => {
      this.#core.mustBeLive();
      const sound = this.#playSound({ channel, sound: name, volume }, session);
      this.#record(session, 'sound.play', `${channel} plays ${name}`, { channel, sound: name });
      return { durationS: tidy(sound.lengthS(name)) };
    },
    'sound.stop': ({ channel }, session) => {
      const sound = this.#core.body.sound(channel);
      this.#core.byHand(new Set([sound]), session.client);
      sound.fadeOut();
      this.#record(session, 'sound.stop', `${channel} fades out`, { channel });
      return { playing: sound.playing ?? null };
    },
    'channel.identify': ({ channel }, session) => {
      this.#core.mustBeLive();
      const actuator = this.#core.body.channel(channel);
      const durationS = this.#identifier.start(actuator, session);
      this.#core.byHand(new Set([actuator]), session.client);
      this.#record(session, 'channel.identify', `${channel} shows itself`, { channel });
      return { durationS };
    },
    'group.move': async ({ group, to, overS, wait }, session) => {
      this.#core.mustBeLive();
      const members = this.#core.body.groups.get(group);
      if (!members)
        throw new Refusal(
          'group.unknown',
          `there is no group ${group}; ${this.#core.body.find(group) ? `${group} is a channel: use channel.move` : didYouMean(group, this.#core.body.groups.keys())}`,
          { group },
        );
      const moves = members.map((servo) => ({ servo, targetDeg: degOf(servo, to) }));
      const started = await this.#move(moves, overS, session, wait);
      this.#record(session, 'group.move', `${group} to ${to}`, { group, to });
      return started;
    },
    'pose.go': async ({ pose, overS, wait }, session) => {
      this.#core.mustBeLive();
      const started = await this.#pose(pose, overS, session, wait);
      this.#record(session, 'pose.go', `pose ${pose}`, { pose });
      return started;
    },
    'cue.run': async ({ cue, fromS = 0, rate = 1, loop = false, wait }, session) => {
      this.#core.mustBeLive();
      const turn = ++this.#asked;
      let passage: CuePassage | undefined;
      if (fromS !== 0 || rate !== 1) {
        // A cue that there is not is refused at once.
        this.#core.cues.channelsOf(cue);
        passage = await this.#editor.passage({ cue, fromS, rate }, session.id);
        // Between these checks and the run, nothing is awaited.
        this.#mustStillBeWanted(passage, turn, session);
      }
      const { cues, nowS } = this.#core;
      cues.run(cue, session.client, nowS, { loop, passage });
      const state = this.#runState(cue, loop, passage);
      if (wait) await untilOver(this.#core, cue);
      return wait ? { ...state, running: cues.isRunning(cue) } : state;
    },
    'cue.stop': ({ cue }, session) => {
      // One that runs may be gone from the file already.
      if (!this.#core.cues.isRunning(cue)) this.#core.cues.channelsOf(cue);
      this.#core.cues.stop(cue, `${session.client} stopped it`);
      return this.#cueState(cue);
    },
    'teach.begin': ({ channels }, session) => {
      this.#core.mustBeLive();
      const servos = [...new Set(channels)].map((channel) => this.#core.body.servo(channel));
      this.#core.teacher.begin(servos, session.client);
      return { channels: servos.map(({ name }) => name) };
    },
    'teach.end': async ({ wait }, session) => {
      this.#core.mustBeLive(true);
      const { teacher, waits } = this.#core;
      teacher.end(session.client);
      if (wait) await waits.until(() => (teacher.active ? undefined : true));
      return this.#core.shown;
    },
    'idle.start': ({ idle }, session) => {
      this.#core.mustBeLive();
      this.#core.idle.start(idle, this.#core.nowS);
      this.#record(session, 'idle.start', `idle behaviour ${idle}`, { idle });
      return { running: idle };
    },
    'idle.stop': (_params, session) => {
      this.#core.idle.stop();
      this.#record(session, 'idle.stop', 'no idle behaviour', {});
      return { running: null };
    },
    'trigger.arm': ({ armed }, session) => {
      this.#core.triggers.armed = armed;
      if (!armed) this.#core.performer.letGoOutside(`${session.client} has disarmed it`);
      this.#record(session, 'trigger.arm', armed ? 'triggers armed' : 'triggers disarmed', {
        armed,
      });
      return { armed };
    },
    'show.arm': (_params, session) => {
      this.#core.show.arm(session.client);
      this.#record(session, 'show.arm', 'armed for the show', {});
      return { armed: true };
    },
    'show.disarm': (_params, session) => {
      this.#core.show.disarm(`${session.client} asked for it`);
      return { armed: false };
    },
    'mark.capture': async ({ channel, mark, from }, session) => {
      const { servo, atDeg } = this.#standing(channel, from);
      const deg = this.#withinLimits(servo, atDeg);
      await this.#editor.capture(
        [{ path: ['channels', channel, 'marks', mark], value: deg }],
        this.#author(session, `mark ${mark} of ${channel}`),
      );
      this.#record(session, 'mark.capture', `${channel} ${mark} is ${deg} deg`, {
        channel,
        mark,
        deg,
      });
      return { deg, pulseUs: servo.pulseAt(deg) };
    },
    'limits.capture': async ({ channel, end, from }, session) => {
      const { servo, atDeg } = this.#standing(channel, from);
      this.#mustNotPush(servo, end);
      const deg = this.#roundedInside(servo, atDeg);
      const [low, high] = servo.limitsDeg;
      const limitsDeg: [number, number] = end === 'low' ? [deg, high] : [low, deg];
      if (limitsDeg[0] >= limitsDeg[1])
        throw new Refusal(
          'limits.crossed',
          `the low limit must be below the high one; ${channel} stands at ${deg} deg, its limits are ${tidy(low)} to ${tidy(high)} deg`,
          { channel, value: deg, limitsDeg: [low, high] },
        );
      const { parkDeg } = servo;
      if (parkDeg < limitsDeg[0] || parkDeg > limitsDeg[1])
        throw new Refusal(
          'limits.park-outside',
          `${channel} parks at ${tidy(parkDeg)} deg, which limits of ${tidy(limitsDeg[0])} to ${tidy(limitsDeg[1])} deg would leave outside`,
          { channel, value: tidy(parkDeg), limitsDeg },
        );
      const path = ['channels', channel, 'limitsDeg'];
      await this.#editor.capture(
        [
          servo.limitsInFile
            ? { path: [...path, end === 'low' ? 0 : 1], value: deg }
            : { path, value: limitsDeg },
        ],
        this.#author(session, `${end} limit of ${channel}`),
      );
      this.#record(session, 'limits.capture', `${channel} ${end} limit is ${deg} deg`, {
        channel,
        limitsDeg,
      });
      return { limitsDeg };
    },
    'park.capture': async ({ channel, mark }, session) => {
      const { servo, atDeg } = this.#standing(channel, undefined);
      const deg = mark === undefined ? this.#withinLimits(servo, atDeg) : degOf(servo, mark);
      const to = mark ?? deg;
      await this.#editor.capture(
        [{ path: ['channels', channel, 'park', 'to'], value: to }],
        this.#author(session, `park position of ${channel}`),
      );
      this.#record(session, 'park.capture', `${channel} parks at ${to}`, { channel, to });
      return { to, deg };
    },
    'pose.capture': async ({ pose, channels }, session) => {
      this.#core.mustBeLive(true);
      const { body } = this.#core;
      const { poses } = body.prop;
      const before = Object.hasOwn(poses, pose) ? poses[pose]! : undefined;
      const { values, left } = capturePose(body, before ?? {}, channels);
      const edits = before
        ? Object.entries(values).map(([name, value]) => ({ path: ['poses', pose, name], value }))
        : [{ path: ['poses', pose], value: values }];
      const { version } = await this.#editor.capture(edits, this.#author(session, `pose ${pose}`));
      const count = Object.keys(values).length;
      const without =
        left.length > 0 ? `, without ${left.map(({ channel }) => channel).join(', ')}` : '';
      const text = `pose ${pose} is where ${count} channels are now${without}`;
      this.#record(session, 'pose.capture', text, { pose });
      return { values, version, left };
    },
    'capture.undo': async (_params, session) => {
      this.#core.mustBeLive(true);
      const { undone } = await this.#editor.undo(this.#author(session, 'the last capture undone'));
      this.#record(session, 'capture.undo', undone, {});
      return { undone };
    },
    'prop.apply': async (params, session) => {
      const what = params.text === undefined ? 'edits' : 'a new text';
      const result = await this.#editor.apply(params, this.#author(session, what));
      this.#record(session, 'prop.apply', changeText(result), { ...result });
      return result;
    },
    'cue.save': async ({ version, ...change }, session) => {
      const what = `cue ${change.cue}`;
      const result = await this.#editor.cue(change, version, this.#author(session, what));
      this.#record(session, 'cue.save', `${what}: ${changeText(result)}`, { ...result });
      return result;
    },
    'cue.remove': async ({ cue, version }, session) => {
      const what = `cue ${cue} removed`;
      if (this.#core.cues.isRunning(cue))
        throw new Refusal(
          'cue.in-use',
          `cue ${cue} runs now, so nothing was written; stop it first (cue.stop), then remove it`,
          { cue, places: [] },
        );
      const result = await this.#editor.cue({ cue }, version, this.#author(session, what));
      this.#record(session, 'cue.remove', `${what}: ${changeText(result)}`, { ...result });
      return result;
    },
    'prop.restore': async ({ version, base }, session) => {
      const what = `version ${version} restored`;
      const result = await this.#editor.restore(version, base, this.#author(session, what));
      this.#record(session, 'prop.restore', `${what}: ${changeText(result)}`, { ...result });
      return result;
    },
    'board.scan': () => {
      this.#mustBeAtRest();
      return this.#editor.scanBoards();
    },
    'picture.begin': (params, session) =>
      this.#editor.beginPicture(params, this.#author(session, 'a picture')),
    'picture.end': async (params, session) => {
      const result = await this.#editor.endPicture(params, this.#author(session, 'a picture'));
      const { file } = result;
      this.#record(session, 'picture.end', `picture ${file} is beside the prop file`, { file });
      return result;
    },
    'channel.perform': ({ targets }, session) => {
      this.#core.mustBeLive();
      const moves = Object.entries(targets).map(([channel, to]) => {
        const servo = this.#core.body.servo(channel);
        return { servo, targetDeg: degOf(servo, to) };
      });
      return { channels: this.#core.performer.perform(moves, session) };
    },
    'measure.begin': (params, session) => {
      this.#core.mustBeLive();
      const state = this.#core.measuring.begin(params, session);
      const { channel, what } = params;
      const text =
        what === 'ends' ? `looks for the ends of ${channel}` : `measures ${channel} running free`;
      this.#record(session, 'measure.begin', text, { channel, run: state.run });
      return state;
    },
    'measure.hold': ({ run }, session) => this.#core.measuring.hold(run, session),
    'measure.release': ({ run }, session) => this.#core.measuring.release(run, session),
    'measure.accept': async (params, session) => {
      const { edits, version, what, done } = this.#core.measuring.editsOf(params, session);
      const result = await this.#editor.apply({ edits, version }, this.#author(session, what));
      this.#record(session, 'measure.accept', `${what}: ${changeText(result)}`, { ...result });
      return { ...done(result.version), version: result.version, pending: result.pending };
    },
    'take.begin': ({ channels, over, sound }, session) => {
      this.#core.mustBeLive();
      const { recorder, cues, body, nowS } = this.#core;
      recorder.mustBeFree();
      const servos = [...new Set(channels)].map((channel) => body.servo(channel));
      let inS = 0;
      if (over !== undefined) {
        cues.run(over, session.client, nowS, { leaves: servos });
        inS = cues.delayOf(over);
      } else if (sound) inS = this.#playSound(sound, session).leadS;
      const meanwhile = {
        ...(over !== undefined && { over }),
        ...(sound && { sound: { channel: sound.channel, sound: sound.sound } }),
      };
      recorder.begin(servos, meanwhile, session, inS);
      const names = servos.map(({ name }) => name);
      return {
        ...{ channels: names, ...meanwhile, hz: TAKE_HZ, longestS: LONGEST_TAKE_S },
        beginsInS: tidy(inS),
      };
    },
    'take.end': (_params, session) => {
      const { recorder, cues, body } = this.#core;
      const recording = recorder.mustHave();
      const { over, sound } = recording;
      if (recorder.active) {
        recorder.end(`${session.client} ended it`, session.client);
        if (over !== undefined) cues.stop(over, 'its recording has ended');
        // Another sound may play there by now.
        const played = sound && body.sounds.find(({ name }) => name === sound.channel);
        if (played?.playing === sound?.sound) played?.fadeOut();
      }
      return takeState(recording);
    },
    'sound.begin': (params, session) =>
      this.#editor.beginSound(params, this.#author(session, 'a sound')),
    'sound.add': async (params, session) => {
      const what = `sound ${params.name}`;
      const result = await this.#editor.addSound(params, this.#author(session, what));
      const { file, pending } = result;
      const text = `${what} is listed, with file ${file}${laterText(pending)}`;
      this.#record(session, 'sound.add', text, { ...result });
      return result;
    },
    'sound.remove': async (params, session) => {
      const what = `sound ${params.sound} removed`;
      const result = await this.#editor.removeSound(params, this.#author(session, what));
      this.#record(session, 'sound.remove', what + laterText(result.pending), { ...result });
      return result;
    },
    'sound.follow': async (params, session) => {
      const what = `${params.channel} follows ${params.sound}`;
      const result = await this.#editor.followSound(params, this.#author(session, what));
      const text = `${what}: take ${result.take}${laterText(result.pending)}`;
      this.#record(session, 'sound.follow', text, { ...result });
      return result;
    },
    'wear.done': async ({ channel, note = '' }, session) => {
      const result = await this.#editor.wearDone(channel, session.client, note);
      const what = `${channel} was maintained${note === '' ? '' : `: ${note}`}`;
      this.#record(session, 'wear.done', what, { channel, ...(note !== '' && { note }) });
      return result;
    },
    'take.read': async (params) => {
      const { recorder } = this.#core;
      const { recording } = recorder;
      if (params.take !== undefined) {
        const shown = await this.#editor.readTake(undefined, params);
        const samples = Math.round(shown.durationS * TAKE_HZ) + 1;
        return { recording: false, samples, ...shown };
      }
      if (!recording) return { recording: false, samples: 0, durationS: 0, channels: [] };
      const state = takeState(recording);
      if (recorder.active) return state;
      return { ...(await this.#editor.readTake(recording, params)), ...state };
    },
    'take.save': async (params, session) => {
      const recording = params.take === undefined ? this.#core.recorder.ended() : undefined;
      const what = `take ${params.name}`;
      const by = this.#author(session, what);
      const result = await this.#editor.saveTake(recording, params, by);
      if (recording) recording.saved = result.name;
      const { file, pending, points, durationS } = result;
      const of = params.take === undefined ? '' : `, made of take ${params.take},`;
      const text = `${what}${of} is saved in ${file}: ${durationS} s, ${points} points${laterText(pending)}`;
      this.#record(session, 'take.save', text, { ...result });
      return result;
    },
    'sim.set': (
      { board: name, inputs = {}, fault, senses = {}, turned = {}, batteries = {}, crimps = {} },
      session,
    ) => {
      const board = this.#core.body.boards.find((one) => one.name === name);
      if (!board) {
        const names = this.#core.body.boards.map((one) => one.name);
        throw new Refusal(
          'board.unknown',
          `there is no board ${name}; ${didYouMean(name, names)}`,
          {
            board: name,
          },
        );
      }
      const { simulate } = board.driver;
      if (!simulate || !this.#simulating)
        throw new Refusal(
          'board.not-simulated',
          simulate
            ? 'a simulated board can be set from outside only while the daemon listens on this machine alone'
            : `board ${name} is not simulated`,
          { board: name },
        );
      this.#core.simulateSupplies(batteries, crimps);
      board.driver.simulateSenses?.(this.#atInputs(senses));
      board.driver.turnByHand?.(turned);
      const now = simulate.call(board.driver, inputs, fault);
      this.#record(session, 'sim.set', `simulated board ${name} set`, {
        board: name,
        inputs,
        fault,
        ...(Object.keys(senses).length > 0 && { senses }),
        ...(Object.keys(turned).length > 0 && { turned }),
        ...(Object.keys(batteries).length > 0 && { batteries }),
        ...(Object.keys(crimps).length > 0 && { crimps }),
      });
      return { board: name, ...now };
    },
  };

  /** Values of simulated senses as their board reads them. */
  #atInputs(senses: NonNullable<Params<'sim.set'>['senses']>) {
    return Object.fromEntries(
      Object.entries(senses).map(([name, how]) => {
        const sense = this.#core.body.senses.find(name);
        if (how?.value === undefined || !sense) return [name, how];
        return [name, { ...how, value: sense.rawOf(how.value) }];
      }),
    );
  }

  // --- moving -------------------------------------------------------------------------------------

  async #move(
    moves: readonly Move[],
    overS: number | undefined,
    session: Session,
    wait: boolean | undefined,
  ): Promise<Started> {
    const asked = this.#core.gate.move(moves, overS ?? 0, session.client, this.#core.nowS);
    this.#core.byHand(new Set(moves.map(({ servo }) => servo)), session.client);
    const { durationS, delayed } = await untilBegun(this.#core, asked, moves);
    if (wait) await untilArrived(this.#core, moves);
    return { durationS: tidy(durationS, 4), ...(delayed && { delayed }) };
  }

  /**
   * A passage was worked out beside the core. Whatever concerns the whole prop, or a cue, and was asked for
   * meanwhile is newer: then nothing runs.
   */
  #mustStillBeWanted({ cue, version }: CuePassage, turn: number, session: Session): void {
    this.#core.lease.require(session);
    this.#core.mustBeLive();
    if (turn !== this.#asked)
      throw new Refusal(
        'cue.asked-again',
        `something else was asked for while cue ${cue} was worked out; run it again if it is still wanted`,
        { cue },
      );
    if (version !== this.#core.version)
      throw new Refusal(
        'file.taking-effect',
        `the prop file has changed while cue ${cue} was worked out; run it again`,
        { cue },
      );
  }

  /** What is said of a cue that begins to run. */
  #runState(cue: string, loop: boolean, passage: CuePassage | undefined): Result<'cue.run'> {
    const state = this.#cueState(cue);
    const { fromS = 0, rate = 1, bringS = 0, leftOut } = passage ?? {};
    const { durationS: wholeS } = state;
    const restS = wholeS === null || loop ? null : (wholeS - fromS) / rate;
    return {
      ...state,
      durationS: restS === null ? null : tidy(bringS + Math.max(0, restS), 3),
      ...(leftOut && { leftOut }),
    };
  }

  #cueState(cue: string): { running: boolean; durationS: number | null } {
    const durationS = this.#core.prop.cueDurationsS[cue] ?? null;
    return { running: this.#core.cues.isRunning(cue), durationS };
  }

  async #pose(
    name: string,
    overS: number | undefined,
    session: Session,
    wait: boolean | undefined,
  ): Promise<Started> {
    const { body, gate, nowS } = this.#core;
    const targets = targetsOfPose(body, name);
    gate.mustBeAbleToDo(targets, nowS);
    const { moves, switches, dims, colours } = targets;
    const leaving = opening(targets);
    for (const { relay, on } of switches)
      gate.switch(relay, on, Number.POSITIVE_INFINITY, nowS, leaving);
    for (const { lamp, target: to } of dims) gate.dim(lamp, to, overS ?? 0);
    for (const { light, target: to } of colours) gate.colour(light, to, overS ?? 0);
    // Last, so that the servos wait if the rail is full now.
    const asked = moves.length > 0 ? gate.move(moves, overS ?? 0, session.client, nowS) : undefined;
    this.#core.byHand(channelsOf(targets), session.client);
    const started = asked && (await untilBegun(this.#core, asked, moves));
    if (wait && started) await untilArrived(this.#core, moves);
    return { ...started, durationS: tidy(started?.durationS ?? overS ?? 0, 4) };
  }

  /** A step in us as a step in deg, where the servo stands. */
  #degForUs(servo: Servo, byUs: number | undefined): number {
    if (byUs === undefined)
      throw new Refusal('jog.no-step', 'give byDeg or byUs', { channel: servo.name });
    const fromDeg = this.#core.gate.jogsFrom(servo);
    const { mapping } = servo;
    return mapping.toDeg(mapping.toPulseUs(fromDeg) + byUs) - fromDeg;
  }

  /** A servo whose position may be captured: live and standing still; and where it stands (deg). */
  #standing(channel: string, from: 'command' | 'measured' | undefined) {
    this.#core.mustBeLive(true);
    const servo = this.#core.body.servo(channel);
    if (from === 'measured') return { servo, atDeg: this.#core.teacher.measuredDeg(servo) };
    if (!servo.pulsing)
      throw new Refusal(
        'capture.unknown',
        `${channel} is limp, so nobody knows by its command where it is; capture where it is measured (from: "measured")`,
        { channel },
      );
    if (!servo.moving && !servo.delayed) return { servo, atDeg: servo.setpoint.pos };
    throw new Refusal('capture.moving', `${channel} is moving; capture when it stands still`, {
      channel,
      value: tidy(servo.setpoint.pos),
      target: tidy(servo.targetDeg),
    });
  }

  /** @throws Refusal `outOfLimits` with the angle that would do */
  #mustNotPush(servo: Servo, end: 'low' | 'high'): void {
    if (!servo.pushing) return;
    const free = servo.freeDeg(end === 'high' ? 1 : -1);
    const steps = (free ?? 0) / CAPTURE_STEP_DEG;
    // Rounded towards the inside.
    const step = end === 'high' ? Math.floor(steps + 1e-6) : Math.ceil(steps - 1e-6);
    const wouldDo = free === undefined ? null : tidy(step * CAPTURE_STEP_DEG, 2);
    const advice =
      wouldDo === null
        ? 'jog back until it no longer pushes, and capture there'
        : `it did not at ${wouldDo} deg: go back there, and capture`;
    throw new Refusal(
      'limits.pushing',
      `${servo.name} pushes against something at ${tidy(servo.setpoint.pos)} deg, so this is not a limit to stand at; ${advice}`,
      { channel: servo.name, value: tidy(servo.setpoint.pos), wouldDo },
    );
  }

  /** Where it stands (deg), in whole capture steps, and not outside its envelope by rounding. */
  #roundedInside(servo: Servo, atDeg: number): number {
    const [low, high] = servo.envelopeDeg;
    const deg = tidy(clamp(atDeg, low, high), 2);
    if (deg > high) return tidy(deg - CAPTURE_STEP_DEG, 2);
    return deg < low ? tidy(deg + CAPTURE_STEP_DEG, 2) : deg;
  }

  /** The gateway lets no such number through; one that still came here would never end. */
  /** @throws Refusal `scan.not-at-rest` while something moves, or may by itself */
  #mustBeAtRest(): void {
    const { condition, body } = this.#core;
    const atRest = condition === 'parked' || condition === 'stopped' || condition === 'faulted';
    if (atRest && !body.servos.some(({ moving }) => moving)) return;
    throw new Refusal(
      'scan.not-at-rest',
      `the prop is ${condition}, and its boards need the bus; park it first`,
      { condition },
    );
  }

  #numbersMustBeFinite(params: object): void {
    for (const [name, value] of Object.entries(params))
      if (typeof value === 'number' && !Number.isFinite(value))
        throw new Refusal('params.not-finite', `${name} must be a finite number`, {
          [name]: String(value),
        });
  }

  /** Where a servo stands, as it is captured: rounded (deg). @throws Refusal `outOfLimits` */
  #withinLimits(servo: Servo, at: number): number {
    const [low, high] = servo.limitsDeg;
    // A limit that was captured here may be off by the rounding.
    if (at >= low - CAPTURE_STEP_DEG && at <= high + CAPTURE_STEP_DEG)
      return clamp(tidy(at, 2), low, high);
    throw new Refusal(
      'capture.outside',
      `${servo.name} stands at ${tidy(at)} deg, outside its limits ${tidy(low)} to ${tidy(high)} deg; capture the limit first, or go back inside`,
      { channel: servo.name, value: tidy(at), limitsDeg: [low, high] },
    );
  }

  /** What keeps hands safe, once it is sure to survive the daemon. */
  async #lockout(): Promise<Result<'lockout.set'>> {
    const saved = await untilSaved(this.#core);
    const { lockout } = this.#core.safety;
    if (saved === true) return { lockout };
    return { lockout, unsaved: `it would not outlast a restart, as it cannot be saved: ${saved}` };
  }

  /** Plays a sound as soon as its board can. */
  #playSound({ channel, sound: name, volume = 1 }: Params<'sound.play'>, session: Session): Sound {
    const sound = this.#core.body.sound(channel);
    this.#core.gate.play(sound, name, volume, this.#core.nowS + sound.leadS);
    this.#core.byHand(new Set([sound]), session.client);
    return sound;
  }

  #author({ id, client }: Session, what: string): Author {
    return { session: id, client, what };
  }

  #levelMustBeRight(channel: string, to: number): void {
    if (to >= 0 && to <= 1) return;
    throw new Refusal('level.outside', `${channel} goes from 0 to 1; ${tidy(to)} is outside`, {
      channel,
      value: to,
      limit: to < 0 ? 0 : 1,
    });
  }

  // --- the journal --------------------------------------------------------------------------------

  #record(session: Session, what: CoreMethod, text: string, values: Record<string, unknown>): void {
    const { journal } = this.#core;
    const { streamed }: MethodRecord = METHODS[what];
    if (streamed) journal.fold(session.client, what, text, values);
    else journal.add(session.client, what, text, values);
  }

  /** A client that asks in a loop for what is refused must not flush the journal. */
  #recordRefusal(session: Session, method: CoreMethod, refusal: Refusal): void {
    const second = Math.floor(this.#core.nowS);
    if (second !== this.#refusals.second) Object.assign(this.#refusals, { second, count: 0 });
    if (++this.#refusals.count > 20) return;
    this.#core.journal.add(session.client, 'refused', `${method}: ${refusal.message}`, {
      method,
      ...plainValues(refusal.values),
    });
  }
}

function takeState(recording: Recording): Result<'take.end'> {
  const { channels, over, sound, ended, saved, count: samples } = recording;
  return {
    recording: ended === undefined,
    samples,
    durationS: durationOf(recording),
    channels: [...channels],
    ...(over !== undefined && { over }),
    ...(sound && { sound }),
    ...(ended !== undefined && { ended }),
    ...(saved !== undefined && { saved }),
  };
}

function laterText(pending: boolean): string {
  return pending ? '; it takes effect when the prop is parked' : '';
}

function changeText({ changed, pending, problem }: Result<'prop.apply'>): string {
  if (problem !== undefined) return 'the file has fewer errors, and is still not in use';
  const list = changed.join(', ') || 'nothing changes';
  return list + laterText(pending);
}

/** Values that may quote what a client has sent, fit for other people's screens. */
function plainValues(values: Record<string, unknown>): Record<string, unknown> {
  const entries = Object.entries(values);
  return Object.fromEntries(
    entries.map(([name, value]) => [name, typeof value === 'string' ? plain(value) : value]),
  );
}
