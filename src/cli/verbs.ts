import type { Result } from '../api/methods.ts';
import type { ChannelInfo, LockoutInfo } from '../api/types.ts';
import { didYouMean, listed } from '../prop/finding.ts';
import { conditionText } from '../shared/condition-text.ts';
import { Refusal } from '../shared/errors.ts';
import { tidy } from '../shared/units.ts';
import { fileLines } from './file-text.ts';
import { findVerb } from './find.ts';
import { show, table, UsageError } from './output.ts';
import {
  MEASURED,
  measuredText,
  railTable,
  tableWhereMeasured,
  troubleText,
} from './senses-text.ts';
import { between, degreesOrMark, lightness, number, seconds, secondsOrNone } from './values.ts';
import { type Argument, type Operator, type Outcome, type VerbOption, verb } from './verb.ts';

/** What moves, lights or looks at the prop, on the command line and at the prompt alike. */

const CHANNEL: Argument = { name: 'channel', doc: 'name of a channel', names: 'channel' };
const OVER: VerbOption = {
  flags: '--over <S>',
  doc: 'time for the move (s); default: as fast as the limits allow',
  parse: seconds,
};
const BY_HAND: VerbOption = {
  flags: '--measured',
  doc: 'where it is measured while a hand turns it (teach); otherwise where it is commanded to',
};
const fromOf = (measured: true | undefined) => (measured ? { from: 'measured' as const } : {});
const FADE: VerbOption = {
  flags: '--fade <S>',
  doc: 'time for the fade (s)',
  parse: secondsOrNone,
};

/**
 * Refuses a wrong name before the prop is woken for it.
 * @throws Refusal `noSuchThing` that suggests a name.
 */
function mustBeKnown(what: string, name: string, known: readonly string[]): void {
  if (known.includes(name)) return;
  const reason = `there is no ${what} ${name}; ${didYouMean(name, known)}`;
  throw new Refusal('command.unknown-name', reason, { name });
}

function delayNote(result: { delayed?: string }): string {
  return result.delayed ? ` (delayed: ${result.delayed})` : '';
}

async function status(operator: Operator): Promise<Outcome> {
  const { prop, version, file } = await operator.connect();
  const state = await operator.state();
  const { condition, notParked, holder, rails, senses, lockout = null, guards = [] } = state;
  const { channels } = await operator.call('channel.list', {});
  const head = [`${prop}: ${conditionText(state)}`, `lease: ${holder ?? 'free'}`];
  if (lockout) head.push(lockText(lockout));
  for (const { name, action } of guards) head.push(`guard ${name} is broken (${action})`);
  const parts = [[...head, ...(file ? fileLines(file) : [])].join('\n'), channelTable(channels)];
  if (Object.keys(rails).length > 0) parts.push(railTable(rails));
  const troubles = Object.values(senses ?? {}).map(troubleText);
  const trouble = troubles.filter((text) => text !== '').join('\n');
  if (trouble) parts.push(trouble);
  const missing = notMeasuredText(channels);
  if (missing) parts.push(missing);
  const result = {
    ...{ prop, condition, holder, version, ...(file && { file }), rails, channels },
    ...(notParked !== undefined && { notParked }),
    ...(lockout && { lockout }),
    ...(guards.length > 0 && { guards }),
    ...(senses && { senses }),
  };
  return { result, text: parts.join('\n\n') };
}

function unsavedText({ unsaved }: { unsaved?: string }): string {
  return unsaved === undefined ? '' : `\n${unsaved}`;
}

function lockText(lockout: LockoutInfo): string {
  const { also = [], ...first } = lockout;
  const locks = [first, ...also].map(({ by, reason, time }) => `${by} (${reason}, since ${time})`);
  return `hands in the prop: ${locks.join('; ')}`;
}

/** `not measured: calibration of beak, lid_left and 8 more; ...`; empty where everything is. */
function notMeasuredText(channels: Record<string, ChannelInfo>): string {
  const names = new Map<string, string[]>();
  for (const [name, { measured = {} }] of Object.entries(channels))
    for (const [what, date] of Object.entries(measured))
      if (date === null) names.set(what, [...(names.get(what) ?? []), name]);
  const lists = [...names].map(([what, of]) => `${what} of ${listed(of)}`);
  return lists.length > 0 ? `not measured: ${lists.join('; ')}` : '';
}

function channelTable(channels: Record<string, ChannelInfo>): string {
  const rows = Object.entries(channels).map(([name, info]) => [
    name,
    info.kind,
    show(info.value),
    show(info.target),
    measuredText(info),
    info.limitsDeg ? info.limitsDeg.map(show).join(' to ') : '',
    Object.entries(info.marks ?? {})
      .map(([mark, deg]) => `${mark}=${show(deg)}`)
      .join(' '),
    info.flags.join(' '),
  ]);
  const heads = ['channel', 'kind', 'value', 'target', MEASURED, 'limits deg', 'marks', 'flags'];
  return tableWhereMeasured(heads, rows);
}

function cueTable({ cues, idle, triggers }: Result<'cue.list'>): string {
  const rows = Object.entries(cues).map(([name, { running, durationS }]) => [
    name,
    durationS === null ? 'until stopped' : `${show(durationS)} s`,
    running ? 'running' : '',
  ]);
  const parts = [rows.length > 0 ? table(['cue', 'takes', ''], rows) : 'no cues'];
  const behaviours = Object.entries(idle).map(
    ([name, { running }]) => name + (running ? ' (running)' : ''),
  );
  if (behaviours.length > 0) parts.push(`idle behaviours: ${behaviours.join(', ')}`);
  const { names, armed } = triggers;
  if (names.length > 0)
    parts.push(`triggers: ${names.join(', ')} (${armed ? 'armed' : 'not armed'})`);
  return parts.join('\n');
}

export const motionVerbs = [
  verb<{ target: string; to: number | string; over?: number }>({
    name: 'move',
    summary: 'move a servo, or a group of them together',
    where: 'both',
    args: [
      { name: 'target', doc: 'a channel or a group', names: 'target' },
      { name: 'to', doc: 'angle in degrees, or a mark', parse: degreesOrMark, names: 'mark' },
    ],
    options: [OVER],
    async run({ target, to, over }, operator) {
      const { channels, groups } = await operator.call('channel.list', {});
      mustBeKnown('channel or group', target, [...Object.keys(channels), ...Object.keys(groups)]);
      await operator.live();
      const how = { to, overS: over, wait: true };
      if (!Object.hasOwn(channels, target)) {
        const result = await operator.call('group.move', { group: target, ...how });
        const text = `${target} moved to ${show(to)} in ${show(result.durationS)} s`;
        return { result, text: text + delayNote(result) };
      }
      const result = await operator.call('channel.move', { channel: target, ...how });
      const text = `${target} moved to ${show(result.target)} deg in ${show(result.durationS)} s`;
      return { result, text: text + delayNote(result) };
    },
  }),
  verb<{ channel: string; by: number; us?: true; beyondLimits?: true }>({
    name: 'jog',
    summary: 'move a servo a little from where it is',
    where: 'both',
    args: [CHANNEL, { name: 'by', doc: 'degrees, e.g. +1.5 or -0.5', parse: number }],
    options: [
      { flags: '--us', doc: 'BY is in us of pulse width instead of degrees' },
      { flags: '--beyond-limits', doc: 'feel for the stop, past the soft limits' },
    ],
    async run({ channel, by, us, beyondLimits }, operator) {
      await operator.live();
      await operator.follow();
      const result = await operator.call('channel.jog', {
        channel,
        ...(us ? { byUs: by } : { byDeg: by }),
        beyondLimits,
      });
      await operator.rest([channel]);
      const where = `${channel} at ${show(result.target)} deg, ${show(result.pulseUs)} us`;
      return { result, text: result.limited ? `${where}: this is its limit` : where };
    },
  }),
  verb<{ channel: string; on: 'on' | 'off'; for?: number }>({
    name: 'switch',
    summary: 'switch a relay on or off',
    where: 'both',
    args: [CHANNEL, { name: 'on', doc: 'on or off', choices: ['on', 'off'] }],
    options: [{ flags: '--for <S>', doc: 'switch back after this time (s)', parse: seconds }],
    async run({ channel, on, for: forS }, operator) {
      await operator.live();
      await operator.follow();
      const result = await operator.call('channel.switch', { channel, on: on === 'on', forS });
      await operator.rest([channel]);
      const text = `${channel} ${show(result.on)}`;
      if (forS === undefined) return { result, text };
      // Handing over earlier could park the prop before the time is up.
      if (!operator.inSession) {
        await operator.until((channels) => channels.get(channel)?.value !== result.on);
      }
      return { result, text: `${text} for ${show(forS)} s` };
    },
  }),
  verb<{ channel: string; colour: string; fade?: number }>({
    name: 'colour',
    summary: 'set the colour of an rgb channel',
    where: 'both',
    args: [
      CHANNEL,
      { name: 'colour', doc: 'CSS colour, e.g. gold, "#ff8800", "oklch(75% 0.15 80)"', rest: true },
    ],
    options: [FADE],
    async run({ channel, colour, fade }, operator) {
      await operator.live();
      await operator.follow();
      const result = await operator.call('channel.colour', { channel, to: colour, fadeS: fade });
      await operator.rest([channel]);
      return { result, text: `${channel} ${result.to}` };
    },
  }),
  verb<{ channel: string; level: number; fade?: number }>({
    name: 'dim',
    summary: 'set the level of a lamp',
    where: 'both',
    args: [
      CHANNEL,
      { name: 'level', doc: 'perceived lightness, 0 to 1 or 0% to 100%', parse: lightness },
    ],
    options: [FADE],
    async run({ channel, level, fade }, operator) {
      await operator.live();
      await operator.follow();
      const result = await operator.call('channel.dim', { channel, to: level, fadeS: fade });
      await operator.rest([channel]);
      return { result, text: `${channel} ${show(result.to)}` };
    },
  }),
  verb<{ pose: string; over?: number }>({
    name: 'pose',
    summary: 'go to a pose',
    where: 'both',
    args: [{ name: 'pose', doc: 'name of a pose', names: 'pose' }],
    options: [OVER],
    async run({ pose, over }, operator) {
      const { poses } = await operator.call('channel.list', {});
      mustBeKnown('pose', pose, poses);
      await operator.live();
      const result = await operator.call('pose.go', { pose, overS: over, wait: true });
      const text = `pose ${pose} reached in ${show(result.durationS)} s`;
      return { result, text: text + delayNote(result) };
    },
  }),
  verb<{ channel: string }>({
    name: 'identify',
    summary: 'wiggle or blink a channel, to find its wire',
    where: 'both',
    args: [CHANNEL],
    async run({ channel }, operator) {
      await operator.live();
      await operator.follow();
      const result = await operator.call('channel.identify', { channel });
      await operator.sleep(result.durationS * 1000);
      await operator.rest([channel]);
      return { result, text: `${channel} identified itself` };
    },
  }),
  verb<{
    name?: string;
    list?: true;
    stop?: string;
    from?: number;
    rate?: number;
    loop?: true;
  }>({
    name: 'cue',
    summary: 'run, list or stop a cue',
    where: 'both',
    args: [{ name: 'name', doc: 'the cue to run', optional: true }],
    options: [
      { flags: '--list', doc: 'list the cues, the idle behaviours and the triggers' },
      { flags: '--stop <name>', doc: 'stop this cue' },
      {
        flags: '--from <S>',
        doc: 'begin at this time in the cue (s); servos and lights are brought there first',
        parse: between(0, 3600, 'seconds'),
      },
      {
        flags: '--rate <R>',
        doc: 'slower: 0.5 is half as fast as in the file',
        parse: between(0.25, 1, 'of the speed in the file'),
      },
      { flags: '--loop', doc: 'begin again when it is over, until it is stopped' },
    ],
    async run({ name, list, stop, from: fromS, rate, loop }, operator) {
      if ([name, list, stop].filter((given) => given !== undefined).length !== 1) {
        throw new UsageError('give the name of a cue, or --list, or --stop NAME');
      }
      if (name === undefined && (fromS !== undefined || rate !== undefined || loop))
        throw new UsageError('--from, --rate and --loop need the name of a cue');
      if (stop !== undefined) {
        await operator.lease();
        return {
          result: await operator.call('cue.stop', { cue: stop }),
          text: `cue ${stop} stopped`,
        };
      }
      // Asked even when running one: nothing is woken for a cue that does not exist.
      const listed = await operator.call('cue.list', {});
      if (list) return { result: listed, text: cueTable(listed) };
      mustBeKnown('cue', name!, Object.keys(listed.cues));
      await operator.live();
      const endless = loop === true || listed.cues[name!]!.durationS === null;
      // At the prompt the next line may stop it; elsewhere nothing comes after it.
      const wait = !(endless && operator.inSession);
      const startMs = operator.io.clock.nowMs();
      const how = {
        ...(fromS !== undefined && { fromS }),
        ...(rate !== undefined && { rate }),
        ...(loop && { loop }),
      };
      const result = await operator.call('cue.run', { cue: name!, ...how, wait });
      const left = (result.leftOut ?? []).map((one) => `\nleft out: ${one}`).join('');
      if (!wait) return { result, text: `cue ${name} runs until it is stopped${left}` };
      const tookS = tidy((operator.io.clock.nowMs() - startMs) / 1000, 1);
      return { result, text: `cue ${name} ran for ${tookS} s${left}` };
    },
  }),
  verb<{ name: string }>({
    name: 'idle',
    summary: 'start or end an idle behaviour: small cues at random times',
    where: 'prompt',
    args: [{ name: 'name', doc: 'name of an idle behaviour, or off' }],
    async run({ name }, operator) {
      if (name === 'off')
        return { result: await operator.call('idle.stop', {}), text: 'no idle behaviour' };
      const result = await operator.call('idle.start', { idle: name });
      return { result, text: `idle behaviour ${name} runs until idle off` };
    },
  }),
  verb({
    name: 'arm-show',
    summary: 'arm the prop for its show: a go then wakes and moves it with nobody at it',
    where: 'both',
    args: [],
    async run(_inputs, operator) {
      await operator.lease();
      const result = await operator.call('show.arm', {});
      return {
        result,
        text: 'armed for the show: from now on it may wake and move at any moment; disarm-show ends that',
      };
    },
  }),
  verb({
    name: 'disarm-show',
    summary: 'no go of the show takes effect any more; a prop that is awake for it parks',
    where: 'both',
    args: [],
    async run(_inputs, operator) {
      const result = await operator.call('show.disarm', {});
      return { result, text: 'disarmed for the show' };
    },
  }),
  verb<{ on: 'on' | 'off' }>({
    name: 'arm',
    summary: 'let the triggers take effect while you hold the lease, or no longer',
    where: 'prompt',
    args: [{ name: 'on', doc: 'on or off', choices: ['on', 'off'] }],
    async run({ on }, operator) {
      const result = await operator.call('trigger.arm', { armed: on === 'on' });
      return { result, text: result.armed ? 'triggers armed' : 'triggers disarmed' };
    },
  }),
];

export const benchVerbs = [
  verb<{ target: string; handsClear?: true }>({
    name: 'teach',
    summary:
      'let a servo, or a group, go limp and be turned by hand; off: it gets its pulses again',
    where: 'prompt',
    args: [{ name: 'target', doc: 'a channel or a group, or off', names: 'target' }],
    options: [{ flags: '--hands-clear', doc: 'with off: all hands are clear of the prop' }],
    async run({ target, handsClear }, operator) {
      if (target === 'off') {
        if (!handsClear)
          throw new UsageError(
            'a servo jumps if its sensor is wrong: take all hands out of the prop, then say so: teach off --hands-clear',
          );
        const result = await operator.call('teach.end', { confirm: 'clear', wait: true });
        return { result, text: `the prop is ${conditionText(result)}` };
      }
      const { channels, groups } = await operator.call('channel.list', {});
      mustBeKnown('channel or group', target, [...Object.keys(channels), ...Object.keys(groups)]);
      const names = groups[target] ?? [target];
      const result = await operator.call('teach.begin', { channels: names });
      const text = `${names.join(', ')}: limp. Nothing else moves, but a park, a stop or a lost link still do what they do, so keep fingers out of hinges. Turn by hand, hold still for two seconds, then mark ${names[0]} NAME --measured; teach off --hands-clear ends it`;
      return { result, text };
    },
  }),
  verb<{ channel: string; name: string; measured?: true }>({
    name: 'mark',
    summary: 'give the position of a servo a name, in the prop file',
    where: 'both',
    changesFile: true,
    args: [CHANNEL, { name: 'name', doc: 'name of the mark', names: 'mark' }],
    options: [BY_HAND],
    async run({ channel, name, measured }, operator) {
      await operator.lease();
      const what = `mark ${name} of ${channel}`;
      const params = { channel, mark: name, ...fromOf(measured) };
      const result = await operator.write(what, 'mark.capture', params);
      const where = `${show(result.deg)} deg, ${show(result.pulseUs)} us`;
      return { result, text: `${what} is ${where}; written to the prop file` };
    },
  }),
  verb<{ pose: string; channels?: string }>({
    name: 'capture',
    summary: 'make a pose of the channels as they are now, in the prop file',
    where: 'both',
    changesFile: true,
    args: [
      { name: 'pose', doc: 'the pose: a new one, or one whose values are replaced' },
      {
        name: 'channels',
        doc: 'which channels, one after the other; all if none is given',
        rest: true,
        optional: true,
      },
    ],
    async run({ pose, channels }, operator) {
      await operator.lease();
      const which = channels === undefined ? {} : { channels: channels.trim().split(/[\s,]+/) };
      const result = await operator.write(`pose ${pose}`, 'pose.capture', { pose, ...which });
      const values = Object.entries(result.values).map(([name, value]) => `${name} ${value}`);
      const left = result.left.map(({ why }) => `; left out: ${why}`).join('');
      return {
        result,
        text: `pose ${pose} is ${values.join(', ')}; written to the prop file${left}`,
      };
    },
  }),
  verb<{ channel: string; end: 'low' | 'high'; measured?: true }>({
    name: 'limit',
    summary: 'make the position of a servo its soft limit, in the prop file',
    where: 'both',
    changesFile: true,
    args: [CHANNEL, { name: 'end', doc: 'which limit', choices: ['low', 'high'] }],
    options: [BY_HAND],
    async run({ channel, end, measured }, operator) {
      await operator.lease();
      const what = `the ${end} limit of ${channel}`;
      const params = { channel, end, ...fromOf(measured) };
      const result = await operator.write(what, 'limits.capture', params);
      const limits = result.limitsDeg.map(show).join(' to ');
      return { result, text: `limits of ${channel} are ${limits} deg; written to the prop file` };
    },
  }),
  verb<{ channel: string; mark?: string }>({
    name: 'rest',
    summary: 'make the position of a servo, or a mark, where it parks, in the prop file',
    where: 'both',
    changesFile: true,
    args: [
      CHANNEL,
      {
        name: 'mark',
        doc: 'the mark where it parks (without it: where it is now)',
        optional: true,
        names: 'mark',
      },
    ],
    async run({ channel, mark }, operator) {
      await operator.lease();
      const what = `the park position of ${channel}`;
      const result = await operator.write(what, 'park.capture', { channel, mark });
      const deg = `${show(result.deg)} deg`;
      const where = mark === undefined ? deg : `${mark}, ${deg}`;
      return { result, text: `${channel} parks at ${where}; written to the prop file` };
    },
  }),
  verb({
    name: 'undo',
    summary: 'put back what the last mark, limit or rest replaced in the prop file; moves nothing',
    where: 'both',
    changesFile: true,
    args: [],
    async run(_given, operator) {
      await operator.lease();
      const result = await operator.write('the undo', 'capture.undo', {});
      return { result, text: `${result.undone}; written to the prop file` };
    },
  }),
];

export const conditionVerbs = [
  verb<{ confirmUnknown?: boolean }>({
    name: 'wake',
    summary: 'wake the prop from its park position',
    where: 'both',
    args: [],
    options: [
      {
        flags: '--confirm-unknown',
        doc: 'servos that nobody knows the position of may move: all hands are clear',
      },
    ],
    changesCondition: true,
    async run({ confirmUnknown }, operator) {
      await operator.lease();
      await operator.wake(confirmUnknown || operator.options.confirmUnknown);
      return {
        result: { condition: operator.condition },
        text: `the prop is ${operator.condition}`,
      };
    },
  }),
  verb({
    name: 'park',
    summary: 'bring everything to rest; needs no lease',
    where: 'both',
    args: [],
    changesCondition: true,
    async run(_given, operator) {
      const result = await operator.call('park', { wait: true });
      return { result, text: `the prop is ${conditionText(result)}` };
    },
  }),
  verb<{ category?: '0' | '1' | '2' }>({
    name: 'stop',
    summary: 'stop at once and stay stopped; needs no lease',
    where: 'both',
    args: [
      {
        name: 'category',
        doc: 'IEC 60204-1 stop category: 0 drop power, 1 decelerate and drop (without it), 2 decelerate and hold',
        choices: ['0', '1', '2'],
        optional: true,
      },
    ],
    changesCondition: true,
    async run({ category: text = '1' }, operator) {
      const category = Number(text) as 0 | 1 | 2;
      const result = await operator.call('stop', { category });
      const then = result.condition === 'stopped' ? '; reset before it moves again' : '';
      return { result, text: `the prop is ${result.condition} (category ${category})${then}` };
    },
  }),
  verb<{ reason?: string }>({
    name: 'lockout',
    summary: 'hands in the prop: stop it, and let nothing wake or move it; needs no lease',
    where: 'both',
    args: [{ name: 'reason', doc: 'why, for others to read', rest: true, optional: true }],
    changesCondition: true,
    async run({ reason }, operator) {
      const result = await operator.call('lockout.set', { ...(reason && { reason }) });
      const text =
        'nothing wakes or moves the prop until "sinew unlock"; it does not replace a switch that cuts the power';
      return { result, text: text + unsavedText(result) };
    },
  }),
  verb<{ force?: string }>({
    name: 'unlock',
    summary: 'clear the lockout that was set from here; moves nothing',
    where: 'both',
    args: [],
    options: [
      {
        flags: '--force <reason>',
        doc: "clear everybody's, and say how you know that nobody is in reach",
      },
    ],
    async run({ force }, operator) {
      const how = force === undefined ? {} : { force: true, reason: force };
      const result = await operator.call('lockout.clear', how);
      const text = result.lockout ? lockText(result.lockout) : 'the lockout is cleared';
      return { result, text: text + unsavedText(result) };
    },
  }),
  verb<{ confirm?: string }>({
    name: 'reset',
    summary: 'end a stop or a fault that is gone; moves nothing',
    where: 'both',
    args: [],
    options: [
      {
        flags: '--confirm <WHO>',
        doc: 'end the stop of somebody else, whom you name: you have seen that it is safe',
      },
    ],
    changesCondition: true,
    async run({ confirm }, operator) {
      await operator.lease();
      const result = await operator.reset(confirm);
      return { result, text: `the prop is ${conditionText(result)}` };
    },
  }),
];

export const lookVerbs = [
  verb({
    name: 'status',
    aliases: ['list'],
    summary: 'show the condition and every channel',
    where: 'both',
    args: [],
    run: (_given, operator) => status(operator),
  }),
  findVerb,
  verb<{ seconds: number }>({
    name: 'wait',
    summary: 'wait before the next line',
    where: 'both',
    args: [{ name: 'seconds', doc: 'how long (s)', parse: between(0, 86_400, 'seconds') }],
    async run({ seconds: waitS }, operator) {
      await operator.sleep(waitS * 1000);
      return { result: { waitedS: waitS }, text: '' };
    },
  }),
];
