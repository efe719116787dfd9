import { Refusal } from '../shared/errors.ts';
import { FLAG } from '../shared/telemetry.ts';
import { clamp, tidy } from '../shared/units.ts';
import { formatPacked, packColour, parseColour } from '../sums/light.ts';
import type { Actuator } from './actuators.ts';
import type { Body } from './body.ts';
import { CAPTURE_STEP_DEG } from './servo.ts';

/** Where channels are now, as values of a pose. */

/** Angles in a pose have this step (deg). */
const STEP_DEG = 0.1;
/** Lightness in a pose has this step. */
const STEP_LIGHTNESS = 0.001;

type Value = number | string;

export interface Captured {
  values: Record<string, Value>;
  /** Channels that are left out, and why. */
  left: { channel: string; why: string }[];
}

/**
 * The values of all channels, or of those that are named. A value that the pose has already, and that means
 * the same, stays as it is written there.
 * @param before what the pose says until now
 * @throws Refusal `capture.moving`, `capture.unknown`, `capture.outside`, `channel.unknown`
 */
export function capturePose(
  body: Body,
  before: Readonly<Record<string, Value>>,
  names: readonly string[] | undefined,
): Captured {
  const channels = names ? [...new Set(names)].map((name) => body.channel(name)) : body.channels;
  const trusted = channels.map((channel) => ({ channel, why: whyNot(channel) }));
  const moving = trusted.filter(({ channel, why }) => !why && isChanging(channel));
  if (moving.length > 0) {
    const which = moving.map(({ channel }) => channel.name);
    throw new Refusal(
      'capture.moving',
      `${which.slice(0, 6).join(', ')} ${which.length === 1 ? 'is' : 'are'} still changing; end what runs, or capture when all stands still`,
      { channels: which },
    );
  }
  const values: Record<string, Value> = {};
  const left: Captured['left'] = [];
  for (const { channel, why } of trusted) {
    const { name } = channel;
    if (why === undefined) values[name] = valueFor(channel, before[name]);
    else if (!names) left.push({ channel: name, why: why.message });
    else throw why;
  }
  if (Object.keys(values).length === 0)
    throw new Refusal('capture.unknown', 'nobody knows where any of these channels is', {});
  return { values, left };
}

/** Why its value cannot be in a pose. */
function whyNot(channel: Actuator): Refusal | undefined {
  const { name } = channel;
  if (channel.valueType === 'volume')
    return new Refusal('capture.unknown', `a pose cannot hold a sound; leave ${name} out`, {
      channel: name,
    });
  if (channel.isUnknown || channel.isLimp || channel.flags() & FLAG.unknown) {
    const why = channel.isUnknown
      ? `nobody knows where ${name} stands`
      : channel.isLimp
        ? `${name} is limp, so it may stand anywhere`
        : `${name} is on its way from an unknown position`;
    return new Refusal('capture.unknown', `${why}; move it first, then capture`, { channel: name });
  }
  if (channel.valueType !== 'deg') return undefined;
  const { limitsDeg, setpoint } = channel;
  const [low, high] = limitsDeg;
  // A limit that was captured here may be off by the rounding.
  if (setpoint.pos >= low - CAPTURE_STEP_DEG && setpoint.pos <= high + CAPTURE_STEP_DEG)
    return undefined;
  return new Refusal(
    'capture.outside',
    `${name} stands at ${tidy(setpoint.pos)} deg, outside its limits ${tidy(low)} to ${tidy(high)} deg; capture the limit first, or go back inside`,
    { channel: name, value: tidy(setpoint.pos), limitsDeg: [low, high] },
  );
}

/** A relay is on or off, also where it opens by itself later. */
function isChanging(channel: Actuator): boolean {
  return channel.valueType === 'on' ? channel.waiting : channel.isUnsettled;
}

function valueFor(channel: Actuator, before: Value | undefined): Value {
  switch (channel.valueType) {
    case 'deg': {
      const at = channel.setpoint.pos;
      const own = typeof before === 'string' ? channel.marks.get(before) : before;
      // What was captured before stands there with the pose's own rounding.
      const near = typeof before === 'string' ? CAPTURE_STEP_DEG : STEP_DEG / 2;
      if (own !== undefined && Math.abs(own - at) <= near + 1e-9) return before!;
      for (const [mark, deg] of channel.marks)
        if (Math.abs(deg - at) <= CAPTURE_STEP_DEG) return mark;
      return rounded(at, channel.limitsDeg);
    }
    case 'on':
      return channel.recordedValue === 1 ? 'on' : 'off';
    // Left out before.
    case 'volume':
      return 0;
    case 'lightness': {
      const at = channel.recordedValue;
      if (typeof before === 'number' && Math.abs(before - at) <= STEP_LIGHTNESS / 2) return before;
      return tidy(Math.round(at / STEP_LIGHTNESS) * STEP_LIGHTNESS, 3);
    }
    case 'colour': {
      const at = channel.recordedValue;
      const own = typeof before === 'string' ? parseColour(before) : undefined;
      return own && packColour(own) === at ? before! : formatPacked(at);
    }
  }
}

/** To the step, but not outside the limits (deg). */
function rounded(deg: number, [low, high]: readonly [number, number]): number {
  const near = tidy(Math.round(deg / STEP_DEG) * STEP_DEG, 1);
  return near < low || near > high ? clamp(tidy(deg, 2), low, high) : near;
}
