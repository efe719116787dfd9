import { lightOf, relayOf, servoOf, soundOf } from '../../prop/kinds/channel.ts';
import { contactMode } from '../../prop/kinds/contact.ts';
import { softLimits } from '../../prop/mechanics.ts';
import type { Prop } from '../../prop/schema.ts';
import { tidy } from '../../shared/units.ts';
import { TOLERANCE } from '../first-power.ts';
import { LOUD_DBA, lossS } from './hazards.ts';

/** Something to do while a person watches. */
export interface AcceptanceCheck {
  what: string;
  /** What must happen. */
  expect: string;
  /** What a daemon has measured; a line to write on where nothing is known. */
  measured?: string;
}

export interface AcceptancePart {
  title: string;
  checks: AcceptanceCheck[];
}

/** What a daemon says that runs the prop. */
export interface Measured {
  /** Text by rail, sense or servo: `7.21 V`, `12.3 deg`. */
  rails: Readonly<Record<string, string>>;
  senses: Readonly<Record<string, string>>;
  servos: Readonly<Record<string, string>>;
}

const NOTHING: Measured = { rails: {}, senses: {}, servos: {} };

/** The safe-levels program brings everything to rest within this (s). */
const DEATH_S = 1;

/** All checks of this prop, the power switch first: no other counts while that one fails. */
export function acceptanceOf(prop: Prop, measured: Measured = NOTHING): AcceptancePart[] {
  const parts = [
    { title: 'Stop, from every place, in the middle of a move', checks: [...stops(prop)] },
    { title: 'Link and power', checks: [...losses(prop)] },
    { title: 'Guards and lockout', checks: [...guards(prop)] },
    { title: 'Duty guards', checks: [...duty(prop)] },
    { title: 'Supplies, measured with a meter', checks: [...supplies(prop, measured)] },
    { title: 'Ends of every servo', checks: [...ends(prop, measured)] },
    { title: 'Every cue', checks: [...cues(prop)] },
    { title: 'Light and sound', checks: [...senses(prop)] },
  ];
  return parts.filter(({ checks }) => checks.length > 0);
}

function* stops({ stopInput, stop }: Prop): Generator<AcceptanceCheck> {
  yield {
    what: "The switch that cuts the actuators' power: off.",
    expect: 'All motion ends at once. Switched on again: nothing moves.',
  };
  if (stopInput) {
    const how =
      stopInput.category === 0
        ? 'Power off at once'
        : stopInput.category === 1
          ? `Decelerates, then power off within ${stop.deadlineS} s`
          : `Decelerates and holds, for ${stop.holdS} s at most`;
    yield {
      what: 'The stop button of the prop.',
      expect: `${how} (category ${stopInput.category}). Released: still stopped. Reset moves nothing.`,
    };
    if (stopInput.normallyClosed)
      yield {
        what: 'One wire of the stop button, pulled off its pin.',
        expect: 'The same as pressing it.',
      };
  }
  yield {
    what: 'Stop on the page, on every device that is used with it.',
    expect: 'It stops, on the first press. The other devices say who stopped it.',
  };
  yield {
    what: 'sinew stop, from a computer that does not have control.',
    expect: 'It stops. Reset asks for the name of whoever stopped it.',
  };
}

function* losses(prop: Prop): Generator<AcceptanceCheck> {
  const { onLoss, holdS = 0 } = prop.link;
  yield {
    what: 'The link of whoever has control, pulled in the middle of a cue.',
    expect: `Within ${lossS(prop)} s it ${onLoss === 'park' ? 'parks' : `holds for ${holdS} s, then parks`}, in its stages.`,
  };
  yield {
    what: 'The power of the computer, cut in the middle of a move; then on again.',
    expect:
      'Relays open, pulses end. When it is back nothing moves by itself; wake names the servos that nobody knows the position of, and asks.',
  };
  yield {
    what: 'The daemon, killed in the middle of a move: sudo systemctl kill -s KILL sinewd.',
    expect: `Within ${DEATH_S} s relays are at their safe level, lights dark, pulses off.`,
  };
}

function* guards(prop: Prop): Generator<AcceptanceCheck> {
  for (const [name, { action, normallyClosed }] of Object.entries(prop.guards)) {
    yield {
      what: `Guard ${name}: broken in the middle of a move.`,
      expect:
        action === 'stop'
          ? 'All that moves stops. Closed again: nothing starts.'
          : 'No command is taken; the prop may still park. Closed again: nothing starts.',
    };
    if (normallyClosed)
      yield { what: `Guard ${name}: one wire pulled off.`, expect: 'The same as broken.' };
  }
  yield {
    what: 'Lockout on the page, set by one person.',
    expect:
      'Nothing wakes or moves, for anybody, also after a restart, until that person clears it.',
  };
  if (prop.lockoutInput)
    yield {
      what: 'Key switch: turned, key taken out.',
      expect: 'The same, until the key is back.',
    };
}

function* duty(prop: Prop): Generator<AcceptanceCheck> {
  for (const [name, channel] of Object.entries(prop.channels)) {
    const relay = relayOf(channel);
    if (!relay?.duty || contactMode(relay) === 'momentary') continue;
    const { maxOnS, restS } = relay.duty;
    yield {
      what: `${name}: on, and left on.`,
      expect: `It opens by itself after ${maxOnS} s; closing it within ${restS} s is refused, also after a restart of the daemon.`,
    };
  }
}

function* supplies(prop: Prop, { rails, senses }: Measured): Generator<AcceptanceCheck> {
  for (const [name, { volts, limitA }] of Object.entries(prop.rails))
    yield {
      what: `Rail ${name}: at rest, then in the busiest cue.`,
      expect: `${tidy(volts, 2)} V within ${100 * TOLERANCE} %, never above ${tidy(limitA, 2)} A; supply, fuse and wires warm at most.`,
      ...(Object.hasOwn(rails, name) && { measured: rails[name]! }),
    };
  for (const name of Object.keys(prop.senses))
    yield {
      what: `Sense ${name}: compared with a meter.`,
      expect: 'Both say the same, as far as they are exact.',
      ...(Object.hasOwn(senses, name) && { measured: senses[name]! }),
    };
}

function* ends(prop: Prop, { servos }: Measured): Generator<AcceptanceCheck> {
  for (const [name, channel] of Object.entries(prop.channels)) {
    const servo = servoOf(channel);
    if (!servo) continue;
    const [low, high] = softLimits(servo);
    yield {
      what: `${name}: to ${tidy(low)} deg, then to ${tidy(high)} deg.`,
      expect: `Nothing touches, buzzes or binds at either end. It parks at ${servo.park.to}.`,
      ...(Object.hasOwn(servos, name) && { measured: servos[name]! }),
    };
  }
}

function* cues(prop: Prop): Generator<AcceptanceCheck> {
  for (const name of Object.keys(prop.cues))
    yield { what: `Cue ${name}.`, expect: 'It looks as meant, and no limb or wire catches.' };
  for (const [name, { cue, unattended }] of Object.entries(prop.triggers))
    yield {
      what: `Trigger ${name} (cue ${cue}).`,
      expect: unattended
        ? 'It runs with nobody in control, then the prop parks.'
        : 'It runs only while somebody has control and has armed the triggers.',
    };
}

function* senses(prop: Prop): Generator<AcceptanceCheck> {
  const all = Object.values(prop.channels);
  if (all.some((one) => lightOf(one) || relayOf(one)?.light))
    yield {
      what: 'The brightest cue, in the room as it will be.',
      expect: prop.flash
        ? 'The notice about flashing light is up.'
        : 'No more than three flashes in any second, other lamps of the room included.',
    };
  if (all.some((one) => soundOf(one)))
    yield {
      what: 'The loudest cue, with a sound level meter where ears can be.',
      expect: `Below ${LOUD_DBA} dB(A); the knob of the amplifier is marked.`,
    };
}
