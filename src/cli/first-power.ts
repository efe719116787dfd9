import { budgetOf } from '../prop/budget.ts';
import { relayOf, servoOf } from '../prop/kinds/channel.ts';
import { contactMode, loadRailOf } from '../prop/kinds/contact.ts';
import { kindOf } from '../prop/kinds/registry.ts';
import { degIn } from '../prop/kinds/servo.ts';
import { coreKind } from '../prop/loom.ts';
import { railOf } from '../prop/rails.ts';
import type { Channel, Prop, Wire } from '../prop/schema.ts';
import { CAUTIONS } from '../prop/trace.ts';
import { tidy } from '../shared/units.ts';
import { ServoMapping } from '../sums/servo-mapping.ts';

/** `sinew check --first-power`: the steps for switching a prop on for the first time, from its own file. */

export interface Phase {
  title: string;
  steps: string[];
}

/** Said before the first step. Common practice, from memory; ISO 13850 for the stop button. */
export const FIRST_POWER_CAUTIONS: readonly string[] = [
  'Pinch points: a servo that gets its first pulse jumps, and does not feel your finger. Horns stay off until this list says otherwise.',
  "Fit the switch that cuts the actuators' power first, within reach of the hand that is not in the prop. A stop button on a pin is an addition to it, never a substitute (ISO 13850).",
  'Batteries: a fuse at the terminal of each pack, and none in place until its rail has been measured. Never charge lithium cells unattended or inside the prop.',
  'Mains: nothing here is meant to switch it. Supplies that plug into mains must be enclosed; whatever is behind the plug is for a licensed person.',
  'Flashing light can cause seizures: keep others away until the lights have been seen once, and put up a notice.',
  'Local codes, and the judgement of people licensed to apply them, take precedence over this list.',
  ...CAUTIONS.slice(1, 3),
];

/** Readings within this share of what is expected are good: E24 resistors are 5 % (IEC 60062), and so, by common practice, are supplies. */
export const TOLERANCE = 0.05;
/** A core or fuse that is whole reads below this, test leads included (ohm): common practice, from memory. */
const WHOLE_OHM = 1;

/** The steps for switching on a prop for the first time, in phases, each with the readings to expect (V, ohm). */
export function firstPower(prop: Prop, file: string): Phase[] {
  const phases = [
    {
      title: 'No power anywhere: supplies unplugged, batteries out, horns off',
      steps: [...measure(prop)],
    },
    {
      title: 'The power switch and the stop button, still without power',
      steps: [...switches(prop)],
    },
    { title: "The computer alone: the actuators' power stays off", steps: [...logic(prop, file)] },
    { title: 'Lights, one by one', steps: [...lights(prop)] },
    { title: 'Relays, with nothing connected to their contacts', steps: [...relays(prop)] },
    { title: 'Servos, one at a time, horns off', steps: [...servos(prop)] },
    { title: 'Horns and linkages, one at a time: limits by jogging', steps: [...limits(prop)] },
    { title: 'What the relays switch; vapour last', steps: [...loads(prop)] },
    { title: 'The whole prop', steps: [...whole(prop, file)] },
  ];
  return phases.filter(({ steps }) => steps.length > 0);
}

/** The same as text for a terminal, cautions first. */
export function firstPowerText(prop: Prop, phases: readonly Phase[]): string {
  const lines = [`${prop.name}: switching on for the first time`, ''];
  for (const caution of FIRST_POWER_CAUTIONS) lines.push(`! ${caution}`);
  let count = 0;
  for (const { title, steps } of phases) {
    lines.push('', title);
    for (const step of steps) lines.push(`  [ ] ${++count}. ${step}`);
  }
  lines.push(
    '',
    'If a reading is not as this list says, stop here, switch off, and look (sinew find CHANNEL --symptom dead --file FILE).',
  );
  return lines.join('\n');
}

function within(value: number, unit: string): string {
  const low = tidy(value * (1 - TOLERANCE), 3);
  return `${tidy(value, 3)} ${unit} (${low} to ${tidy(value * (1 + TOLERANCE), 3)})`;
}

function channelsOf(prop: Prop): [string, Channel][] {
  return Object.entries(prop.channels);
}

function* measure(prop: Prop): Generator<string> {
  for (const [name, { volts, supply, fuse, battery }] of Object.entries(prop.rails)) {
    const ends = supply ? `${supply.plus} (plus) and ${supply.return} (return)` : 'plus and return';
    yield `Rail ${name}: ohmmeter between ${ends} of the wiring. It may start low and climb while a capacitor charges; a steady reading below ${WHOLE_OHM} ohm is a short: find it first. Swap the probes: the same.`;
    if (fuse)
      yield `Rail ${name}: the fuse between ${fuse.from} and ${fuse.to} is ${fuse.ratingA} A (${fuse.standard}). In place it reads below ${WHOLE_OHM} ohm, taken out the two ends read open. Leave it out.`;
    else
      yield `Rail ${name} has no fuse in the file: fit one at the supply, for the thinnest wire.`;
    yield `Rail ${name}: ${battery ? 'measure the battery' : 'switch its supply on with nothing connected to it'}: ${within(volts, 'V')}, plus on plus. ${battery ? 'Leave it out.' : 'Switch it off again, wait until it is empty.'}`;
  }
  for (const { label, text } of polarity(prop)) yield `Wire ${label}: ${text}`;
  const { leds, coils } = budgetOf(prop);
  for (const { channel, colour, givenOhm, wanted } of leds) {
    const which = colour === undefined ? channel : `${colour} of ${channel}`;
    const ohm = givenOhm ?? wanted?.ohm;
    if (ohm === undefined) yield `${which}: its supply is too low for its LED; see sinew budget.`;
    else
      yield `Series resistor for ${which}: one probe on each end of it: ${within(ohm, 'ohm')}${givenOhm === undefined ? ', worked out; the file does not give it' : ''}.`;
  }
  for (const { channel, givenOhm, wanted } of coils) {
    const ohm = givenOhm ?? wanted?.ohm;
    if (ohm !== undefined)
      yield `Base resistor of ${channel}, from the pin to the transistor: ${within(ohm, 'ohm')}. The diode across the coil has its ring at plus.`;
  }
  if (leds.length > 0)
    yield "Each LED: the meter's diode test lights it faintly one way round, and not the other.";
}

/** Each wire with plus and return: which end goes where. */
function* polarity(prop: Prop): Generator<{ label: string; text: string }> {
  const wires: Wire[] = [
    ...channelsOf(prop).flatMap(([, { wire }]) => (wire ? [wire] : [])),
    ...prop.wires,
  ];
  for (const { label, cores } of wires) {
    const plus = cores.find((core) => coreKind(core) === 'plus');
    const back = cores.find((core) => coreKind(core) === 'return');
    if (!plus || !back) continue;
    yield {
      label,
      text: `plus (${plus.colour}) ${plus.from} to ${plus.to} and return (${back.colour}) ${back.from} to ${back.to} read below ${WHOLE_OHM} ohm each; ${plus.to} to ${back.from}: no connection.`,
    };
  }
}

function* switches(prop: Prop): Generator<string> {
  yield `The switch that cuts the actuators' power: off, its two ends read open; on, below ${WHOLE_OHM} ohm. Leave it off.`;
  const contacts: [what: string, pin: number, closed: boolean][] = [];
  const { stopInput, lockoutInput, guards } = prop;
  if (stopInput) contacts.push(['Stop button', stopInput.pin, stopInput.normallyClosed]);
  if (lockoutInput) contacts.push(['Key switch', lockoutInput.pin, lockoutInput.normallyClosed]);
  for (const [name, { pin, normallyClosed }] of Object.entries(guards))
    contacts.push([`Guard ${name}`, pin, normallyClosed]);
  for (const [what, pin, closed] of contacts) {
    const low = `below ${WHOLE_OHM} ohm`;
    yield `${what} (pin ${pin} to ground): at rest ${closed ? low : 'open'}, operated ${closed ? 'open' : low}.`;
  }
}

function* logic(prop: Prop, file: string): Generator<string> {
  yield "Switch on the computer's own supply alone. At its header: 3.3 V and 5 V pins read 3.14 to 3.47 V and 4.75 to 5.25 V. Nothing gets warm.";
  yield 'sinew doctor: fix what it names.';
  yield `sinew check ${file}: no errors left.`;
  yield `sinewd --prop ${file}, then sinew status in a second terminal: at rest, nothing moves.`;
  for (const [name, channel] of channelsOf(prop)) {
    if (!kindOf(channel).switches) continue;
    yield `${name}: its relay is ${channel.park.to} while the computer starts, runs, and after sinewd has ended.`;
  }
  if (prop.stopInput)
    yield 'Press the stop button: sinew status says stopped. Release it, then sinew reset.';
}

/** Rails that feed lights, in the words of the first step that needs them. */
function feed(rail: string | undefined, prop: Prop): string {
  const spec = railOf(prop, rail);
  if (!spec) return '';
  const { volts, fuse } = spec;
  return ` Rail ${rail}: ${fuse ? 'fuse in, ' : ''}on, ${within(volts, 'V')} at its far end.`;
}

function* lights(prop: Prop): Generator<string> {
  const fed = new Set<string>();
  for (const [name, channel] of channelsOf(prop)) {
    const kind = kindOf(channel);
    if (!kind.light) continue;
    const first = channel.rail !== undefined && !fed.has(channel.rail);
    if (channel.rail !== undefined) fed.add(channel.rail);
    const commands =
      kind.part === 'dim'
        ? [`sinew --wake dim ${name} 0.2`, `sinew dim ${name} 0`]
        : ['#400000', '#004000', '#000040', '#000000'].map(
            (colour, i) => `sinew ${i === 0 ? '--wake ' : ''}colour ${name} "${colour}"`,
          );
    const see =
      kind.part === 'dim'
        ? 'it glows, then is dark'
        : 'red, green, blue, dark, in this order; another order is two pins exchanged';
    yield `${name}:${first ? feed(channel.rail, prop) : ''} ${commands.join('; ')}: ${see}. Feel its resistor: warm at most.`;
  }
}

function* relays(prop: Prop): Generator<string> {
  for (const [name, channel] of channelsOf(prop)) {
    const relay = relayOf(channel);
    if (!relay) continue;
    const rests = relay.park.to === 'on' ? 'below 1 ohm' : 'open';
    const works = relay.park.to === 'on' ? 'open' : 'below 1 ohm';
    const on = relay.park.to === 'on' ? 'off' : 'on';
    const forS = contactMode(relay) === 'momentary' || on === 'off' ? '' : ' --for 1';
    yield `${name}: load disconnected, ohmmeter across the contact: ${rests} at rest. sinew --wake switch ${name} ${on}${forS}: it clicks, and reads ${works} meanwhile. The other way round: see activeLow, and which contact is used.`;
  }
}

function* servos(prop: Prop): Generator<string> {
  const all = channelsOf(prop).flatMap(([name, channel]) => {
    const servo = servoOf(channel);
    return servo ? [{ name, servo }] : [];
  });
  if (all.length === 0) return;
  yield "sinew park. Unplug every servo from the prop. Then, for each: the actuators' power off, plug in this one alone, power on, hand on the switch.";
  const fed = new Set<string | undefined>();
  for (const { name, servo } of all) {
    const first = fed.has(servo.rail) ? '' : feed(servo.rail, prop);
    fed.add(servo.rail);
    const park = degIn(servo, servo.park.to);
    const { idleA, busyA, stallA } = kindOf(servo).draw(servo);
    const amps =
      stallA > 0
        ? ` The supply gives about ${tidy(idleA, 2)} A at rest and ${tidy(busyA, 2)} A on the way; near ${tidy(stallA, 2)} A it is stuck: switch off.`
        : '';
    yield `${name}:${first} sinew wake, and yes to its question: its shaft turns to ${park === undefined ? 'its park position' : `${tidy(park)} deg`} and stays there quietly. sinew identify ${name}: a small wiggle, of this one and no other.${amps} sinew park.`;
  }
}

function* limits(prop: Prop): Generator<string> {
  for (const [name, channel] of channelsOf(prop)) {
    const servo = servoOf(channel);
    if (!servo) continue;
    const park = degIn(servo, servo.park.to);
    const [low, high] = servo.limitsDeg ?? new ServoMapping(servo).calibrationDeg;
    yield `${name}: parked at ${park === undefined ? '?' : tidy(park)} deg, power off, fit horn${servo.linkage ? ' and rod' : ''} so that the part rests where it should park. Power on, sinew wake.`;
    yield `${name}: sinew session; jog ${name} 1, again and again, watching: the file allows ${tidy(low)} to ${tidy(high)} deg. Stop before anything touches or buzzes, go back a little, limit ${name} high; then jog ${name} -1 for limit ${name} low. rest ${name} where it should park.`;
  }
}

function* loads(prop: Prop): Generator<string> {
  const all = channelsOf(prop).flatMap(([name, channel]) => {
    const relay = relayOf(channel);
    return relay ? [{ name, relay }] : [];
  });
  // Water last of all.
  all.sort((a, b) => Number(a.relay.vapour !== undefined) - Number(b.relay.vapour !== undefined));
  for (const { name, relay } of all) {
    const { draw, duty, vapour } = relay;
    const amps = draw && draw.onA > 0 ? ` It takes about ${tidy(draw.onA, 2)} A.` : '';
    const longest = duty
      ? `; never longer than ${duty.maxOnS} s, then ${duty.restS} s of rest`
      : '';
    const forS =
      contactMode(relay) === 'momentary' ? '' : ` --for ${Math.min(2, duty?.maxOnS ?? 2)}`;
    const water = vapour
      ? ' Fill its tank; it never runs dry. Look for drips below it and at the boards before and after.'
      : '';
    yield `${name}: power off, connect its load, power on.${water}${feed(loadRailOf(relay), prop)} sinew --wake switch ${name} on${forS}.${amps} Nothing smells or gets hot${longest}.`;
  }
}

function* whole(prop: Prop, file: string): Generator<string> {
  yield "Plug in all servos, actuators' power on. sinew wake: they start one after the other.";
  const { cues, flash } = prop;
  for (const cue of Object.keys(cues).slice(0, 8))
    yield `sinew rehearse ${file} --cue ${cue}, then sinew cue ${cue}, hands clear, one hand at the switch.`;
  if (Object.keys(cues).length > 8) yield 'The other cues in the same way.';
  yield "In the middle of a move: switch the actuators' power off. All of it stops. On again: sinew status, sinew wake.";
  if (prop.stopInput)
    yield 'In the middle of a move: the stop button. Release it, sinew reset, sinew wake.';
  yield 'In the middle of a move: pull the network cable or close the session. It parks.';
  if (flash) yield 'Flashing is not limited in this file: put up the notice.';
  yield 'sinew park. Feel every wire, plug, supply and servo: warm at most.';
}
