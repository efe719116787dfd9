import { factsOf } from '../boards/registry.ts';
import { tidy } from '../shared/units.ts';
import { FUSE_RATINGS_A, FUSE_RULES, isFuseRating, protectingA } from '../sums/fuse.ts';
import { baseA } from '../sums/relay-drive.ts';
import { ledMaxA } from '../sums/resistor.ts';
import { KGF_CM_NM, loadedSpeedDegS, ratedAt } from '../sums/servo-line.ts';
import { awgWithSection, iecSectionMm2, sectionForDropMm2 } from '../sums/wire.ts';
import { type Battery, batteryOf } from './battery.ts';
import {
  type ChannelBudget,
  type CoilBudget,
  DROP_SHARE,
  type LedBudget,
  type RailBudget,
  wiringBudgetOf,
} from './budget.ts';
import { coreOhm, isPlus, isReturn, sectionOf } from './circuit.ts';
import type { WireLoad } from './drops.ts';
import { type Finding, inOrder, type Path, pathText } from './finding.ts';
import { servoOf } from './kinds/channel.ts';
import { fromWiring } from './lint-wiring.ts';
import { type Mechanics, mechanicsOf, ratedOf, stallNmOf } from './mechanics.ts';
import { Notes } from './notes.ts';
import type { Prop, Wire } from './schema.ts';
import { readText } from './text.ts';
import { wireRatingA } from './wire-rating.ts';

/** Checks wires, fuses, supplies and small parts against their currents. */
export function lintBudget(notes: Notes): void {
  const budget = fromWiring(notes, wiringBudgetOf);
  for (const rail of budget.rails) {
    if (notes.given.broken(['rails', rail.name])) continue;
    lintFuse(notes, rail);
    lintSupply(notes, rail);
    lintBattery(notes, rail.name);
  }
  const thin = new Set<string>();
  for (const wire of budget.wires) {
    if (lintGauge(notes, wire, budget.channels)) thin.add(pathText(wire.path));
    lintContacts(notes, wire);
  }
  for (const channel of budget.channels) lintDrop(notes, channel, thin);
  for (const led of budget.leds) lintLed(notes, led);
  for (const coil of budget.coils) lintCoil(notes, coil);
}

/** Reports speeds that a servo cannot reach at the voltage that arrives through its wires. */
export function lintRatedSpeeds(notes: Notes): void {
  const { channels } = fromWiring(notes, wiringBudgetOf);
  const mechanics = mechanicsOf(notes.prop);
  for (const channel of channels) lintRated(notes, channel, mechanics.get(channel.name));
}

/**
 * The same findings for a prop without errors, each with its place in the text, in the order of the file.
 * @param more lints to add
 */
export function budgetFindings(
  prop: Prop,
  text: string,
  more: readonly ((notes: Notes) => void)[] = [],
): Finding[] {
  const notes = new Notes(prop, { has: () => false, broken: () => false });
  for (const lint of [lintBudget, lintRatedSpeeds, ...more]) lint(notes);
  const { place } = readText(text);
  return inOrder(notes.remarks.map(place));
}

/** `4.3 A` */
const A = (amps: number) => `${tidy(amps, 2)} A`;

// --- rails ----------------------------------------------------------------------------------------

function lintFuse(notes: Notes, { name, fuse }: RailBudget): void {
  if (fuse?.ratingA === undefined) return;
  const { ratingA, standard, verdict, wire, fits, loadA, momentA } = fuse;
  const path = ['rails', name, 'fuse', 'ratingA'];
  if (!isFuseRating(ratingA, standard)) {
    const near = FUSE_RATINGS_A[standard].filter((rating) => rating > ratingA)[0];
    notes.warning(
      path,
      `${standard} has no fuse of ${A(ratingA)}`,
      near === undefined
        ? `its largest is ${A(FUSE_RATINGS_A[standard].at(-1)!)}`
        : `use one of its ratings, such as ${A(fits ?? near)}`,
    );
  }
  if (verdict === undefined || verdict === 'fits') return;
  notes.warning(
    path,
    {
      'blows in normal use': () =>
        `a fuse of ${A(ratingA)} blows in normal use: ${name} carries up to ${A(loadA)}`,
      'blows when a servo stalls': () =>
        `a fuse of ${A(ratingA)} blows when a servo stalls or starts: ${name} then carries ${A(momentA)}`,
      'does not protect the wire': () =>
        `a fuse of ${A(ratingA)} does not protect ${wire!.label}, ${mayCarry(wire!)}${slowly(fuse)}`,
    }[verdict](),
    fuseRemedy(fuse),
  );
}

type Fuse = NonNullable<RailBudget['fuse']>;

/** `which may carry 4.36 A`, and how much of it other rails use. */
function mayCarry({ capacityA: most, shared }: NonNullable<Fuse['wire']>): string {
  if (!shared) return `which may carry ${A(most)}`;
  return `which may carry ${A(most)} and is the return of ${shared.rails.join(', ')} as well (${A(shared.amps)})`;
}

/** Why a rating below the wire's capacity may still be too large. */
function slowly({ standard }: Fuse): string {
  const { opens } = FUSE_RULES[standard];
  if (protectingA(1, standard) === 1) return '';
  return `: ${standard} lets ${opens.times} times the rating flow for up to ${opens.s / 60} min`;
}

function fuseRemedy({ wire, fits, loadA, momentA, standard }: Fuse): string {
  const needsA = Math.max(loadA, momentA);
  if (!wire) return `use a rating above ${A(needsA)} that the wires can carry`;
  if (typeof fits === 'number') return `fit ${A(fits)}`;
  return `no rating of ${standard} fits between ${A(needsA)} and ${A(wire.capacityA)}: make ${wire.label} thicker, or fuse the branches one by one`;
}

function lintSupply(notes: Notes, rail: RailBudget): void {
  const { name, limitA, hardest, battery } = rail;
  if (hardest && hardest.amps > limitA && hardest.movingA <= limitA)
    notes.warning(
      ['rails', name, 'limitA'],
      `${name} gives ${A(limitA)}, and ${hardest.channel} asks for ${A(hardest.amps)} when it starts or is stalled, even while all others rest`,
      `use a supply of ${A(hardest.amps)} or more`,
    );
  if (battery?.wantedH === undefined) return;
  const { idleH, movingH, wantedH } = battery;
  const path = ['rails', name, 'battery'];
  const hours = (time: number) => `${tidy(time, 2)} h`;
  if (idleH < wantedH)
    notes.warning(
      path,
      `the battery lasts ${hours(idleH)} even when nothing moves, and ${hours(wantedH)} is wanted`,
      'use a larger one',
    );
  else if (movingH < wantedH)
    notes.note(
      path,
      `the battery lasts ${hours(idleH)} at rest but ${hours(movingH)} if everything moves all the time, and ${hours(wantedH)} is wanted`,
      'see what the cues need: sinew budget FILE',
    );
}

function lintBattery(notes: Notes, rail: string): void {
  const { battery, volts, limitA } = notes.prop.rails[rail]!;
  if (!battery) return;
  const { fullV, nominalV, emptyV, maxA } = battery;
  const path = ['rails', rail, 'battery'];
  if (emptyV !== undefined && fullV !== undefined && emptyV >= fullV) {
    notes.error(
      [...path, 'emptyV'],
      `${tidy(emptyV)} V is not below fullV, ${tidy(fullV)} V`,
      'give the lower one as emptyV',
    );
    return;
  }
  lintCurve(notes, path, battery.curve);
  const outside = volts > (fullV ?? volts) || volts < (emptyV ?? volts);
  if (outside && batteryOf(notes.prop.rails[rail]!))
    notes.warning(
      ['rails', rail, 'volts'],
      `${rail} has ${tidy(volts)} V, and its battery gives ${tidy(emptyV ?? volts)} to ${tidy(fullV ?? volts)} V`,
      `give its nominal voltage${nominalV === undefined ? '' : `, ${tidy(nominalV)} V`}, or nominalV where a regulator lies between`,
    );
  if (maxA !== undefined && limitA > maxA)
    notes.warning(
      ['rails', rail, 'limitA'],
      `${rail} may be asked for ${A(limitA)}, and its battery may give ${A(maxA)}`,
      `set limitA to ${tidy(maxA, 2)}, or use a battery for more`,
    );
}

/** A curve on which a voltage stands for one share only. */
function lintCurve(notes: Notes, path: Path, curve: Battery['curve']): void {
  if (!curve || notes.given.broken([...path, 'curve'])) return;
  const points = [...curve].sort(([a], [b]) => a - b);
  const turns = points.some(
    ([volts, left], i) => i > 0 && !(volts > points[i - 1]![0] && left > points[i - 1]![1]),
  );
  if (turns)
    notes.error(
      [...path, 'curve'],
      'the points are not strictly monotonic: two have the same voltage, or more is left at less voltage',
      'give points [V, share left] whose share rises with the voltage',
    );
}

/** Reports a speed limit above the servo's speed at the voltage that arrives, with and without load. */
function lintRated(
  notes: Notes,
  { name, rail, movingV }: ChannelBudget,
  mechanics: Mechanics | undefined,
): void {
  const spec = servoOf(notes.prop.channels[name]);
  const rated = spec && ratedOf(spec);
  const path = ['channels', name, 'speedDegS'];
  if (!spec || rated?.speedDegS === undefined || spec.linkage?.hornSpeedDegS !== undefined) return;
  if (notes.given.broken(path) || notes.given.broken(['channels', name, 'rated'])) return;
  const volts = movingV ?? notes.prop.rails[rail]!.volts;
  const freeDegS = ratedAt(rated, volts).speedDegS!;
  if (spec.linkage) {
    const askedDegS = mechanics?.linkage?.hornSpeedDegS ?? 0;
    if (askedDegS > freeDegS * (1 + 1e-9))
      notes.warning(
        path,
        `at its ${tidy(spec.speedDegS)} deg/s the flap of ${name} needs ${tidy(askedDegS, 0)} deg/s from its horn, which turns ${tidy(freeDegS, 0)} deg/s at most at the ${tidy(volts, 2)} V that arrive`,
        `set speedDegS to ${Math.floor((spec.speedDegS * freeDegS) / askedDegS + 1e-9)} or less`,
      );
    return;
  }
  const stallNm = stallNmOf(notes.prop, spec, volts);
  const loadNm = mechanics?.worst?.torqueNm ?? 0;
  const speedDegS = stallNm ? loadedSpeedDegS(freeDegS, loadNm, stallNm) : freeDegS;
  if (spec.speedDegS <= speedDegS * (1 + 1e-9)) return;
  const under =
    speedDegS < freeDegS
      ? `, under ${Number(loadNm.toPrecision(2))} N m (${tidy(loadNm / KGF_CM_NM, 1)} kgf cm)`
      : '';
  notes.warning(
    path,
    `${name} turns ${tidy(speedDegS, 0)} deg/s at most at the ${tidy(volts, 2)} V that arrive${under}, and ${tidy(spec.speedDegS)} deg/s are its limit`,
    `set speedDegS to ${Math.floor(speedDegS)} or less`,
  );
}

// --- wires ----------------------------------------------------------------------------------------

function wireAt(notes: Notes, path: Path): Wire {
  const { prop } = notes;
  return path[0] === 'wires'
    ? prop.wires[path[1] as number]!
    : prop.channels[path[1] as string]!.wire!;
}

function lintGauge(
  notes: Notes,
  { label, path, amps, capacityA: most }: WireLoad,
  channels: readonly ChannelBudget[],
): boolean {
  if (most === undefined || amps <= most) return false;
  const wire = wireAt(notes, path);
  const key = wire.sectionMm2 === undefined ? 'gaugeAwg' : 'sectionMm2';
  if (notes.given.broken(path)) return true;
  // A channel's own wire must also keep the voltage drop.
  const own = path[0] === 'channels' && channels.find(({ name }) => name === path[1]);
  const dropMm2 = (own && sectionForDrop(notes.prop, own, wire)) || 0;
  notes.warning(
    [...path, key],
    `${label} carries ${A(amps)}, and such a wire may carry ${A(most)}`,
    `make it ${thicker(wire, (mm2) => mm2 >= dropMm2 && wireRatingA(notes.prop, mm2) >= amps)}`,
  );
  return true;
}

/** Reports plugs and terminals at the ends of a wire that carry more than they may. */
function lintContacts(notes: Notes, { label, path, amps }: WireLoad): void {
  const { connectors } = notes.prop;
  if (notes.given.broken(path)) return;
  const said = new Set<string>();
  for (const core of wireAt(notes, path).cores) {
    if (!isPlus(core) && !isReturn(core)) continue;
    for (const end of [core.from, core.to]) {
      const name = end.slice(0, end.lastIndexOf('-'));
      const { ratedA } = (Object.hasOwn(connectors, name) && connectors[name]) || {};
      if (ratedA === undefined || amps <= ratedA * (1 + 1e-9) || said.has(name)) continue;
      said.add(name);
      const at = ['connectors', name, 'ratedA'];
      if (!notes.given.broken(at))
        notes.warning(
          at,
          `a contact of ${name} may carry ${A(ratedA)}, and ${label} carries up to ${A(amps)}`,
          'use a larger one, or share the current between several contacts and wires',
        );
    }
  }
}

/** `20 AWG or thicker`, or in mm2 if the file uses that: the first size that is enough. */
function thicker(wire: Wire, willDo: (mm2: number) => boolean): string {
  const thin = sectionOf(wire) ?? 0;
  for (let mm2 = thin; mm2 < 1000; mm2 *= 1.02) {
    if (!willDo(mm2)) continue;
    const gauge = wire.sectionMm2 === undefined ? awgWithSection(mm2) : undefined;
    if (gauge !== undefined) return `${gauge} AWG or thicker`;
    return `${tidy(iecSectionMm2(mm2) ?? mm2, 2)} mm2 or thicker`;
  }
  return 'thicker';
}

function lintDrop(notes: Notes, channel: ChannelBudget, thin: ReadonlySet<string>): void {
  const { name, rail, dropV, dropShare, along } = channel;
  if (dropV === undefined || dropShare === undefined || dropShare <= DROP_SHARE) return;
  const wire = notes.prop.channels[name]!.wire;
  const path = ['channels', name, ...(wire ? ['wire'] : [])];
  // A wire that is too thin for its current has too large a drop as well.
  if (notes.given.broken(path) || thin.has(pathText(path))) return;
  const volts = notes.prop.rails[rail]!.volts;
  const where = along === 'the loom' ? 'on the way to it and back' : 'in its own wire alone';
  // The calculation takes the full current as given, but it cannot flow through such a wire.
  if (dropV >= volts) {
    notes.warning(
      path,
      `${name} cannot run: when it moves or is on, more than all of the ${tidy(volts)} V would be lost ${where}`,
      dropRemedy(notes, channel, wire),
    );
    return;
  }
  notes.warning(
    path,
    `${name} gets ${tidy(volts - dropV, 2)} V of ${tidy(volts)} V when it moves or is on: ${tidy(dropV, 2)} V (${tidy(100 * dropShare, 1)} %) are lost ${where}`,
    dropRemedy(notes, channel, wire),
  );
}

function dropRemedy({ prop }: Notes, channel: ChannelBudget, wire: Wire | undefined): string {
  const { movingA, dropV } = channel;
  const general = 'use thicker or shorter wires on its way, or another rail';
  if (!wire || !isWholeRun(prop, channel, wire)) return general;
  const mm2 = sectionForDrop(prop, channel, wire);
  if (mm2 === undefined)
    return `${general} (${tidy(dropV! - ownDropV(channel, wire), 2)} V are lost before ${wire.label})`;
  const willDo = (one: number) => one >= mm2 && wireRatingA(prop, one) >= movingA;
  return `make ${wire.label} ${thicker(wire, willDo)} for ${tidy(100 * DROP_SHARE)} % or less`;
}

/**
 * The section (mm2) with which a channel's own wire keeps the total drop allowed, given the drop in the
 * rest of its way; undefined if nothing is left of it, or the length or a core is not in the file.
 */
function sectionForDrop(prop: Prop, channel: ChannelBudget, wire: Wire): number | undefined {
  const { rail, movingA, dropV } = channel;
  if (dropV === undefined || !wire.lengthM || !isWholeRun(prop, channel, wire)) return undefined;
  const ownV = ownDropV(channel, wire);
  const leftV = DROP_SHARE * prop.rails[rail]!.volts - (dropV - ownV);
  if (ownV === 0 || leftV <= 0) return undefined;
  return sectionForDropMm2({ amps: movingA, lengthM: wire.lengthM }, leftV);
}

/**
 * Whether a channel's own wire leads to what it feeds and back, and its length is in the file. Where the
 * load has wires of its own, as behind a relay's contact, its current flows in those.
 */
function isWholeRun(
  { wires }: Prop,
  { name }: Pick<ChannelBudget, 'name'>,
  { lengthM, cores }: Wire,
): boolean {
  if (wires.some(({ channel }) => channel === name)) return false;
  return lengthM !== undefined && lengthM > 0 && cores.some(isPlus) && cores.some(isReturn);
}

/** Voltage drop in a wire that leads there and back (V). */
function ownDropV({ movingA }: Pick<ChannelBudget, 'movingA'>, wire: Wire): number {
  return movingA * 2 * (coreOhm(wire) ?? 0);
}

// --- small parts ----------------------------------------------------------------------------------

function lintLed(notes: Notes, { channel, colour, led, givenOhm, wanted }: LedBudget): void {
  const at = ['channels', channel, 'led'];
  if (notes.given.broken(at) || notes.given.broken(['channels', channel, 'rail'])) return;
  const index = colour === undefined ? [] : [['red', 'green', 'blue'].indexOf(colour)];
  const which = colour === undefined ? channel : `the ${colour} of ${channel}`;
  if (!wanted) {
    notes.warning(
      [...at, 'forwardV', ...index],
      `${which} needs up to ${tidy(led.forwardV + led.spreadV)} V and its supply has ${tidy(led.supplyV)} V`,
      'use a higher supply, or fewer LEDs in a string',
    );
    return;
  }
  if (givenOhm === undefined) return;
  const maxA = ledMaxA(led, givenOhm);
  if (maxA <= led.currentA * 1.001) return;
  notes.warning(
    [...at, 'resistorOhm', ...index],
    `${which} may get ${tidy(1000 * maxA, 1)} mA through ${tidy(givenOhm)} ohm, and ${tidy(1000 * led.currentA, 1)} mA is its maximum`,
    `use ${tidy(wanted.ohm)} ohm or more`,
  );
}

function lintCoil(notes: Notes, { channel, coil, coilA, givenOhm, wanted }: CoilBudget): void {
  const at = ['channels', channel, 'coil'];
  const { output } = notes.prop.channels[channel]!;
  const board = notes.prop.boards[output.board];
  if (notes.given.broken(at) || !board) return;
  const { sourceA } = factsOf(board).electrics(board);
  if (!wanted) {
    notes.warning(
      [...at, 'driveV'],
      `a pin of ${tidy(coil.driveV)} V does not switch a transistor on`,
      'use a driver chip or a level shifter',
    );
    return;
  }
  const mA = (amps: number) => `${tidy(1000 * amps, 1)} mA`;
  if (givenOhm === undefined) {
    if (wanted.pinA > sourceA)
      notes.warning(
        [...at, 'gain'],
        `the coil draws ${mA(coilA)}, and to switch it the pin would have to give ${mA(wanted.pinA)}: ${mA(sourceA)} is its maximum`,
        'use a transistor of more gain, a MOSFET or a driver chip',
      );
    return;
  }
  const pinA = baseA(coil, givenOhm);
  if (pinA > sourceA)
    notes.warning(
      [...at, 'baseOhm'],
      `through ${tidy(givenOhm)} ohm the pin gives ${mA(pinA)}: ${mA(sourceA)} is its maximum`,
      `use ${tidy(wanted.ohm)} ohm`,
    );
  else if (pinA * coil.gain < coilA)
    notes.warning(
      [...at, 'baseOhm'],
      `through ${tidy(givenOhm)} ohm the transistor passes ${mA(pinA * coil.gain)} and the coil needs ${mA(coilA)}`,
      `use ${tidy(wanted.ohm)} ohm`,
    );
}
