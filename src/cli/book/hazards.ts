import { budgetOf } from '../../prop/budget.ts';
import { lightOf, relayOf, servoOf, soundOf } from '../../prop/kinds/channel.ts';
import { mechanicsOf } from '../../prop/mechanics.ts';
import type { Prop } from '../../prop/schema.ts';
import { tidy } from '../../shared/units.ts';

/**
 * What can hurt somebody at a prop, from its file. The words are those of ISO 12100:2010: types of hazard
 * (annex B), protective measure (3.19), residual risk (3.13), unexpected start-up (3.31); stop categories
 * IEC 60204-1, 9.2.2; emergency stop ISO 13850 (all from memory). It is a help for a risk assessment, and
 * none by itself.
 */
export interface Hazard {
  type:
    | 'mechanical'
    | 'electrical'
    | 'thermal'
    | 'noise'
    | 'radiation'
    | 'material/substance'
    | 'combination';
  /** What it comes from, and what may happen. */
  what: string;
  /** The channels or rails. */
  from: string[];
  /** What the prop file and Sinew do about it. */
  measures: string[];
  residual: string;
}

/** Over eight hours: the upper exposure action value of Directive 2003/10/EC, article 3 (from memory). */
export const LOUD_DBA = 85;
/** Within this time control is lost with its link, and parking begins (s): the timeout and a promise of the daemon. */
export const lossS = ({ link }: Prop): number => tidy(link.timeoutMs / 1000 + 0.1);

/** The hazards of this prop, mechanical ones first. */
export function hazardsOf(prop: Prop): Hazard[] {
  return [
    ...mechanical(prop),
    ...startUp(prop),
    ...stopping(prop),
    ...thermal(prop),
    ...vapour(prop),
    ...light(prop),
    ...sound(prop),
    ...electrical(prop),
  ];
}

function* mechanical(prop: Prop): Generator<Hazard> {
  const servos = Object.entries(prop.channels).filter(([, one]) => servoOf(one));
  if (servos.length === 0) return;
  const torques = [...mechanicsOf(prop)].flatMap(([name, { stallNm }]) =>
    stallNm === undefined ? [] : [{ name, stallNm }],
  );
  const strongest = torques.toSorted((a, b) => b.stallNm - a.stallNm)[0];
  const bound = servos.filter(([, { requires = [] }]) => requires.length > 0).length;
  yield {
    type: 'mechanical',
    what: 'Crushing, shearing and impact: limbs, horns and rods move without warning, and do not feel a finger.',
    from: servos.map(([name]) => name),
    measures: [
      'Every servo stays within its soft limits, speed and acceleration (see Marks and limits).',
      bound > 0
        ? `${bound} of ${servos.length} servos have interlocks, so that limbs do not meet.`
        : 'The file has no interlocks between servos.',
      ...guardWords(prop),
    ],
    residual:
      strongest === undefined
        ? 'A servo pushes with all its force against whatever is in its way; the file does not say with how much.'
        : `A servo pushes with all its force against whatever is in its way: ${strongest.name} stalls at ${tidy(strongest.stallNm, 2)} N m. Limbs that meet and that no interlock names.`,
  };
}

function guardWords(prop: Prop): string[] {
  const guards = Object.entries(prop.guards).map(
    ([name, { action }]) => `${name} (${action === 'stop' ? 'stops' : 'inhibits'})`,
  );
  return guards.length > 0
    ? [`Guards: ${guards.join(', ')}.`]
    : ['No guard (mat, beam, door): people are kept away by other means.'];
}

function* startUp(prop: Prop): Generator<Hazard> {
  if (Object.values(prop.channels).some((one) => servoOf(one)))
    yield {
      type: 'mechanical',
      what: 'Unexpected start-up: a servo that nobody knows the position of jumps at its own speed when its pulses begin.',
      from: [],
      measures: [
        'After a stop of category 0 or 1, a crash, a power cut or a restored backup, wake asks a person to confirm, then moves such servos last, one at a time.',
        prop.lockoutInput
          ? 'Lockout ("hands in the prop") by a key switch, or by anybody on the page.'
          : 'Lockout ("hands in the prop") by anybody on the page; it is kept across restarts.',
      ],
      residual:
        'The speed of the servo itself until it has arrived. A lockout does not isolate the power: switch it off and pull the plug before you reach in.',
    };
  const alone = Object.entries(prop.triggers).filter(([, { unattended }]) => unattended);
  if (alone.length > 0)
    yield {
      type: 'mechanical',
      what: 'Unexpected start-up: the prop wakes and runs a cue with nobody in control.',
      from: alone.map(([name]) => `trigger ${name}`),
      measures: [
        'Not after a crash, a power cut or a low voltage, until somebody has taken control once.',
        'It parks again after the cue.',
      ],
      residual: 'Whoever is within reach when it starts. Put up a notice, and keep reach away.',
    };
}

function* stopping(prop: Prop): Generator<Hazard> {
  const { stopInput, link, stop } = prop;
  yield {
    type: 'combination',
    what: 'Stop is not reached, not obeyed, or undone while somebody reaches in.',
    from: [],
    measures: [
      stopInput
        ? `Stop button on the prop: stop category ${stopInput.category}${stopInput.normallyClosed ? ', a wire break counts as pressed' : ', NOT fail-safe: a wire break goes unnoticed'}.`
        : 'No stop button in the file: the stop is on the page and in the command line.',
      `A stop latches across restarts; category 1 becomes category 0 after ${stop.deadlineS} s.`,
      `Control is lost with its link within ${lossS(prop)} s, and the prop parks${link.onLoss === 'park' ? '' : ` after holding for ${link.holdS ?? 0} s`}.`,
    ],
    residual:
      'One computer and one program: no performance level (ISO 13849-1) is claimed. The emergency stop (ISO 13850) is the switch that cuts the power of the actuators, and only that: fit it within reach, and test it.',
  };
}

function* thermal(prop: Prop): Generator<Hazard> {
  const relays = Object.entries(prop.channels).filter(([, one]) => relayOf(one));
  if (relays.length === 0) return;
  const guarded = relays.flatMap(([name, one]) => {
    const { duty } = relayOf(one)!;
    return duty ? [`${name}: ${duty.maxOnS} s on, then ${duty.restS} s of rest.`] : [];
  });
  const free = relays.filter(([, one]) => !relayOf(one)!.duty).map(([name]) => name);
  yield {
    type: 'thermal',
    what: 'Burn and fire: what a relay switches is on for too long, or does not switch off.',
    from: relays.map(([name]) => name),
    measures: [...guarded, 'Relays open at a stop, unless the file says safe: on.'],
    residual: `A contact that welds stays closed.${free.length > 0 ? ` Without a duty guard: ${free.join(', ')}.` : ''}`,
  };
}

function* vapour(prop: Prop): Generator<Hazard> {
  const units = Object.entries(prop.channels).filter(([, one]) => relayOf(one)?.vapour);
  if (units.length === 0) return;
  yield {
    type: 'material/substance',
    what: 'Vapour and water: slipping, wet electronics, germs in standing water, a unit that runs dry.',
    from: units.map(([name]) => name),
    measures: ['Duty guards as above.'],
    residual:
      'Drips and condensation that nobody sees. Keep water below and away from boards, drain it, and follow the maker of the unit.',
  };
}

function* light(prop: Prop): Generator<Hazard> {
  const lights = Object.entries(prop.channels).filter(
    ([, one]) => lightOf(one) || relayOf(one)?.light,
  );
  if (lights.length === 0) return;
  const reason = prop.flash?.reason;
  yield {
    type: 'radiation',
    what: 'Flashing light can cause seizures (photosensitive epilepsy); bright light dazzles.',
    from: lights.map(([name]) => name),
    measures: [
      reason === undefined
        ? 'All light together gives no more than three flashes in any second (WCAG 2.2, 2.3.1).'
        : `The file lifts the limit of three flashes a second: ${reason}.`,
    ],
    residual: `Other lights in the room, and light through moving parts. ${reason === undefined ? 'Put up a notice where people are sensitive.' : 'Put up a notice.'}`,
  };
}

function* sound(prop: Prop): Generator<Hazard> {
  const speakers = Object.entries(prop.channels).flatMap(([name, one]) => {
    const spec = soundOf(one);
    return spec ? [{ name, ceiling: spec.ceiling }] : [];
  });
  if (speakers.length === 0) return;
  yield {
    type: 'noise',
    what: `Loud sound damages hearing: at once near a loudspeaker, over hours at ${LOUD_DBA} dB(A).`,
    from: speakers.map(({ name }) => name),
    measures: speakers.map(({ name, ceiling }) => `${name}: amplitude ${ceiling} at most.`),
    residual:
      'How loud an amplitude is depends on the amplifier: measure where ears can be, a child included, and mark its knob.',
  };
}

function* electrical(prop: Prop): Generator<Hazard> {
  const rails = Object.entries(prop.rails);
  if (rails.length > 0) {
    const { rails: sums } = budgetOf(prop);
    const without = rails.filter(([, { fuse }]) => !fuse).map(([name]) => name);
    const batteries = rails.filter(([, { battery }]) => battery).map(([name]) => name);
    yield {
      type: 'electrical',
      what: `Short circuit, arc and fire: the supplies give up to ${tidy(Math.max(...sums.map(({ limitA }) => limitA)))} A.${batteries.length > 0 ? ' Batteries burn, and give far more than that.' : ''}`,
      from: rails.map(([name, { volts }]) => `${name} (${volts} V)`),
      measures: [
        without.length === 0
          ? 'Every rail has its fuse at the supply.'
          : `Fuses at the supply of all rails but ${without.join(', ')}.`,
        'The load of each rail stays within its limit.',
      ],
      residual: `${without.length > 0 ? 'A rail without a fuse. ' : ''}${batteries.length > 0 ? 'Never charge lithium cells unattended or inside the prop. ' : ''}Chafed wires at moving parts.`,
    };
  }
  yield {
    type: 'electrical',
    what: 'Electric shock from mains: supplies that plug into mains, and whatever is behind their plugs.',
    from: [],
    measures: ['Nothing in Sinew is meant to switch mains.'],
    residual:
      'Enclosures and plugs: only a licensed person works on them, under the local code. Use a residual-current device where the local code asks for one.',
  };
}
