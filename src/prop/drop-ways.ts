import { factsOf } from '../boards/registry.ts';
import { ResistorNetwork } from '../sums/network.ts';
import { batteryOf } from './battery.ts';
import { type Circuit, circuitOf, type Source, type Tap } from './circuit.ts';
import { FUSE_OHM, parts } from './drops.ts';
import { versionOf } from './file/version.ts';
import { loadRailOf } from './kinds/contact.ts';
import { kindOf } from './kinds/registry.ts';
import type { Prop, Rail } from './schema.ts';
import type { SenseEntry } from './senses-schema.ts';

/**
 * Where a drop along the supply's wires can be measured and compared with the one that they explain: a voltage
 * sense with `at`, and the rail's current.
 */
export interface DropWay {
  /** Of all that samples of it depend on: wires, rail, senses and their boards. */
  digest: string;
  rail: string;
  /** The sense at the far end, and the one at the supply; without that one, the supply counts as steady. */
  far: string;
  near?: string;
  /** The sense of the rail's current. */
  current: string;
  /** What 1 A of each channel drops on the way by the wires (V), and 1 A of the whole rail in a shunt. */
  ohm: Record<string, number>;
  shuntOhm: number;
  /** What a shunt and a supply may add for each ampere of the rail (ohm). */
  allowedOhm: number;
  /** Wires on the way that carry the same currents, those of most channels first. */
  suspects: Suspects[];
}

/** Wires that have more resistance than they should, by what is measured. */
export interface WeakWires {
  rail: string;
  /** The sense at the far end. */
  far: string;
  /** It is in one of these. */
  wires: string[];
  /** Measured and computed drop (mV) at this current of the rail (A). */
  measuredMv: number;
  computedMv: number;
  amps: number;
  /** More than the wires have (ohm). */
  excessOhm: number;
  text: string;
}

interface Suspects {
  wires: string[];
  /** Which share of each channel's current they carry. */
  share: Record<string, number>;
  /** What their good contacts, warm copper and a fuse may add (ohm). */
  allowedOhm: number;
}

/**
 * A good crimp with its contact, new (ohm): data sheets of common 2.5 mm connectors give 10 mohm initially,
 * 20 mohm after their tests (from memory). Each core on the way has two.
 */
const CONTACT_OHM = 0.01;
/** Warm copper has more resistance, and gauges and lengths are not exact (share). Common practice, no source. */
const WIRE_SHARE = 0.25;
/** Voltage across a fuse at its rating (V): a blade fuse about 0.1 V (common practice, no source). */
const FUSE_V = 0.12;
/** What a supply may lose up to its limit (share of its voltage). Common practice, no source. */
const SUPPLY_SHARE = 0.03;
/** Less than this share of a channel's current on a wire is a rounding error. */
const LEAST_SHARE = 0.02;

/** The ways of a prop; none where the wiring, or a current, is not completely in the file. */
export function dropWaysOf(prop: Prop): DropWay[] {
  const volts = Object.entries(prop.senses).filter(hasPlace);
  if (volts.length === 0) return [];
  const circuit = circuitOf(prop);
  return volts.flatMap(([far, sense]) => wayOf(prop, circuit, far, sense) ?? []);
}

type Placed = Extract<SenseEntry, { kind: 'volts' }> & {
  rail: string;
  at: { plus: string; return: string };
};

function hasPlace(entry: [string, SenseEntry]): entry is [string, Placed] {
  const [, sense] = entry;
  return sense.kind === 'volts' && sense.rail !== undefined && sense.at !== undefined;
}

function wayOf(prop: Prop, circuit: Circuit, far: string, sense: Placed): DropWay | undefined {
  const { rail } = sense;
  const spec = Object.hasOwn(prop.rails, rail) ? prop.rails[rail] : undefined;
  const source = circuit.sources.get(rail);
  const current = Object.entries(prop.senses).find(
    ([, one]) => one.kind === 'current' && one.rail === rail,
  );
  if (!spec || !source || !current) return undefined;
  const near = Object.entries(prop.senses).find(
    ([, one]) => one.kind === 'volts' && one.rail === rail && one.at === undefined,
  );
  // A battery's own voltage falls as it empties: nothing can be said without one more sense.
  if (!near && spec.battery) return undefined;
  const [plus, back] = [circuit.nodeOf(sense.at.plus), circuit.nodeOf(sense.at.return)];
  if (plus === undefined || back === undefined) return undefined;
  const solved = solve(prop, circuit, rail, source, { plus, back });
  if (!solved) return undefined;
  const shuntOhm = shuntBetween(prop, current[1], near?.[1], sense);
  const way = {
    ...{ rail, far, current: current[0], ...(near && { near: near[0] }) },
    ...{ ohm: solved.ohm, suspects: solved.suspects, shuntOhm },
    allowedOhm: shuntOhm * WIRE_SHARE + (near ? 0 : supplyOhm(spec)),
  };
  const senses = [sense, current[1], ...(near ? [near[1]] : [])];
  const boards = senses.map(({ board }) => prop.boards[board]);
  return { digest: versionOf(JSON.stringify([way, spec, senses, boards])), ...way };
}

/** What a supply may lose for each ampere (ohm). */
function supplyOhm(rail: Rail): number {
  return batteryOf(rail)?.internalOhm ?? (SUPPLY_SHARE * rail.volts) / rail.limitA;
}

/** A meter measures behind its own shunt. */
function shuntBetween(
  prop: Prop,
  current: SenseEntry,
  near: SenseEntry | undefined,
  far: SenseEntry,
): number {
  if (current.kind !== 'current' || current.input !== undefined) return 0;
  const board = Object.hasOwn(prop.boards, current.board) ? prop.boards[current.board] : undefined;
  const ohm = (board && factsOf(board).measures?.(board)?.shuntOhm) ?? 0;
  const isOf = (sense: SenseEntry | undefined) => sense?.board === current.board;
  return isOf(near) && !isOf(far) ? 0 : ohm;
}

function solve(
  prop: Prop,
  circuit: Circuit,
  rail: string,
  source: Source,
  far: { plus: number; back: number },
): Pick<DropWay, 'ohm' | 'suspects'> | undefined {
  const { nodes, conductors, sources, taps } = circuit;
  const resistive = conductors.filter(({ ohm, from, to }) => ohm !== undefined && from !== to);
  const branches = resistive.map(({ from, to, ohm, label }) => ({ from, to, ohm: ohm!, label }));
  for (const [name, { fuse }] of sources)
    if (fuse && fuse.from !== fuse.to)
      branches.push({ ...fuse, ohm: FUSE_OHM, label: `the fuse of ${name}` });
  const part = parts(nodes, branches);
  const ours = [part[source.plus], part[source.back]];
  const isFar = part[far.plus] === ours[0] && part[far.back] === ours[1];
  // A wire without a length explains nothing; a short circuit has no meaningful voltages.
  const isUnknown = conductors.some(
    ({ ohm, from }) => ohm === undefined && ours.includes(part[from]),
  );
  if (!isFar || isUnknown || ours[0] === ours[1]) return undefined;
  const mine = taps.filter((tap) => (tap.rail ?? loadRailOf(prop.channels[tap.channel]!)) === rail);
  const reached = (tap: Tap) => part[tap.plus] === ours[0] && part[tap.back] === ours[1];
  for (const [name, channel] of Object.entries(prop.channels)) {
    if (loadRailOf(channel) !== rail || kindOf(channel).draw(channel).busyA <= 0) continue;
    const own = mine.filter((tap) => tap.channel === name && tap.rail === undefined);
    // Nobody knows where its current flows.
    if (own.length === 0 || !own.every(reached)) return undefined;
  }
  const network = new ResistorNetwork(nodes, branches);
  /** The currents in all branches while 1 A flows to two nodes and back. */
  const flow = (plus: number, back: number, share = 1): Float64Array => {
    const injected = new Float64Array(nodes);
    injected[source.plus]! += share;
    injected[plus]! -= share;
    injected[back]! += share;
    injected[source.back]! -= share;
    return network.amps(network.volts(injected));
  };
  const probe = flow(far.plus, far.back);
  const byChannel = new Map<string, Tap[]>();
  // A coil is left out: it takes little, and the measured current is shared among the others.
  for (const tap of mine)
    if (tap.rail === undefined && tap.busyA > 0)
      byChannel.set(tap.channel, [...(byChannel.get(tap.channel) ?? []), tap]);
  const ohm: Record<string, number> = {};
  const shares = branches.map((): Record<string, number> => ({}));
  for (const [channel, own] of byChannel) {
    const allA = own.reduce((sum, { busyA }) => sum + busyA, 0);
    const amps = own.map((tap) => flow(tap.plus, tap.back, tap.busyA / allA));
    let dropped = 0;
    for (const [i, { ohm: each }] of branches.entries()) {
      // The drop between two places is the sum of r i j, j the currents of 1 A between them (Tellegen).
      const share = amps.reduce((sum, one) => sum + one[i]!, 0) * probe[i]!;
      dropped += each * share;
      if (Math.abs(share) >= LEAST_SHARE) shares[i]![channel] = Math.round(share * 1000) / 1000;
    }
    ohm[channel] = dropped;
  }
  const groups = new Map<string, Suspects>();
  const { fuse } = prop.rails[rail]!;
  for (const [i, branch] of branches.entries()) {
    const share = shares[i]!;
    if (Object.keys(share).length === 0) continue;
    const ownOhm = i < resistive.length ? WIRE_SHARE * branch.ohm : FUSE_V / (fuse?.ratingA ?? 1);
    const key = JSON.stringify(Object.entries(share).sort());
    const group = groups.get(key) ?? { wires: [], share, allowedOhm: 0 };
    if (!group.wires.includes(branch.label)) group.wires.push(branch.label);
    group.allowedOhm += ownOhm + 2 * CONTACT_OHM;
    groups.set(key, group);
  }
  if (groups.size === 0) return undefined;
  const carried = ({ share }: Suspects) => Object.keys(share).length;
  return { ohm, suspects: [...groups.values()].sort((a, b) => carried(b) - carried(a)) };
}
