import { ResistorNetwork } from '../sums/network.ts';
import { shuntV } from '../sums/shunt.ts';
import {
  type Circuit,
  type Conductor,
  circuitOf,
  coreOhm,
  isPlus,
  isReturn,
  type Source,
  sectionOf,
  type Tap,
} from './circuit.ts';
import type { Path } from './finding.ts';
import { loadRailOf } from './kinds/contact.ts';
import { kindOf } from './kinds/registry.ts';
import { shuntsOf } from './measuring-path.ts';
import { railOf } from './rails.ts';
import type { Channel, Prop, Wire } from './schema.ts';
import { wireRatingA } from './wire-rating.ts';

/** Currents and voltage drops in a prop's wires, from its solved circuit. Copper at 20 C. */

export interface WireLoad {
  label: string;
  /** The channel that it belongs to, or the rail. */
  of: string;
  /** The wire's place in the prop file. */
  path: Path;
  /** The largest current in one of its cores: all loads on, but no more than the rails' limits (A). */
  amps: number;
  /** Voltage drop at that current, out and back if the wire has both (V). */
  dropV?: number;
  /** Current that one of its cores may carry (A). */
  capacityA?: number;
}

export interface ChannelVolts {
  /** From the supply's terminals through the whole loom, or along its own wire only. */
  along: 'the loom' | 'its own wire';
  /** Voltage at the channel when it moves or is fully on, and others too as far as the rail allows (V). */
  movingV: number;
  /** The same while this channel is stalled (V). */
  stallV: number;
}

/**
 * The wire behind a rail's fuse (or its supply, without a fuse) that has the least capacity left for this
 * rail: on the way out or back, which carry the same current.
 */
export interface ProtectedWire {
  label: string;
  capacityA: number;
  /** Other rails whose return it also is, and the current that their fuses or limits allow (A). */
  shared?: { rails: string[]; amps: number };
}

/** The solved circuit of a prop. */
export interface Drops {
  wires: WireLoad[];
  channels: Map<string, ChannelVolts>;
  /** Channels that draw current, but whose wiring to their rail's supply is not in the file. */
  untraced: string[];
  /** By rail. */
  weakest: Map<string, ProtectedWire>;
  /** Labels of supply wires without a length or a size: they count as 0 ohm. */
  unknown: string[];
}

/** Smaller currents are rounding errors (A). */
const FLOWS_A = 1e-6;

/** Instead of 0, so that both sides of a fuse are separate nodes (ohm). */
export const FUSE_OHM = 1e-6;

/** Solves the circuit of a prop: currents (A) and voltages (V) by Kirchhoff's laws. */
export function dropsOf(prop: Prop): Drops {
  return new Solver(prop).solve();
}

class Solver {
  readonly #prop: Prop;
  readonly #circuit: Circuit;
  /** Conductors with a resistance, in the order of the network's branches. */
  readonly #resistive: Conductor[];
  readonly #network: ResistorNetwork;
  readonly #part: Int32Array;
  /** Taps whose wiring to their supply and back is known. */
  readonly #traced: Tap[] = [];
  readonly #shunts: Shunts;

  constructor(prop: Prop) {
    this.#prop = prop;
    this.#circuit = circuitOf(prop);
    this.#shunts = shuntDrops(prop);
    const { nodes, conductors, sources, taps } = this.#circuit;
    this.#resistive = conductors.filter(({ ohm, from, to }) => ohm !== undefined && from !== to);
    const branches = this.#resistive.map(({ from, to, ohm }) => ({ from, to, ohm: ohm! }));
    for (const { fuse } of sources.values())
      if (fuse && fuse.from !== fuse.to) branches.push({ ...fuse, ohm: FUSE_OHM });
    this.#network = new ResistorNetwork(nodes, branches);
    this.#part = parts(nodes, branches);
    for (const tap of taps) {
      const rail = this.#railOf(tap);
      const source = rail === undefined ? undefined : sources.get(rail);
      // A short circuit has no meaningful voltages.
      if (!source || this.#part[source.plus] === this.#part[source.back]) continue;
      const reached =
        this.#part[tap.plus] === this.#part[source.plus] &&
        this.#part[tap.back] === this.#part[source.back];
      if (reached) this.#traced.push(tap);
    }
  }

  solve(): Drops {
    const { channels, untraced } = this.#channels();
    const weakest = new Map<string, ProtectedWire>();
    const backs = this.#returns();
    for (const [rail, source] of this.#circuit.sources) {
      const wire = withLessLeft(this.#weakestBehind(source), this.#weakestReturn(rail, backs));
      if (wire) weakest.set(rail, wire);
    }
    const labels = this.#circuit.conductors
      .filter(({ ohm }) => ohm === undefined)
      .map(({ label }) => label);
    return {
      wires: this.#wires(),
      channels,
      untraced,
      weakest,
      unknown: [...new Set(labels)],
    };
  }

  #railOf({ channel, rail }: Tap): string | undefined {
    return rail ?? loadRailOf(this.#prop.channels[channel]!);
  }

  /** Currents into the nodes for these draws of traced taps (A). */
  #injected(draws: Iterable<readonly [tap: Tap, amps: number]>): Float64Array {
    const injected = new Float64Array(this.#circuit.nodes);
    for (const [tap, amps] of draws) {
      const source = this.#circuit.sources.get(this.#railOf(tap)!)!;
      injected[source.plus]! += amps;
      injected[tap.plus]! -= amps;
      injected[tap.back]! += amps;
      injected[source.back]! -= amps;
    }
    return injected;
  }

  // --- wires ----------------------------------------------------------------------------------------

  #wires(): WireLoad[] {
    const all = this.#injected(this.#traced.map((tap) => [tap, tap.busyA]));
    const amps = this.#network.amps(this.#network.volts(all));
    const limits = new Map<number, number>();
    for (const [rail, { plus, back }] of this.#circuit.sources)
      for (const part of new Set([this.#part[plus]!, this.#part[back]!]))
        limits.set(part, (limits.get(part) ?? 0) + this.#prop.rails[rail]!.limitA);
    const byWire = new Map<Wire, { conductor: Conductor; plusA: number; backA: number }>();
    for (const [i, conductor] of this.#resistive.entries()) {
      const limitA = limits.get(this.#part[conductor.from]!);
      if (limitA === undefined) continue;
      const currentA = Math.min(Math.abs(amps[i]!), limitA);
      const one = byWire.get(conductor.wire) ?? { conductor, plusA: 0, backA: 0 };
      if (leadsBack(conductor)) one.backA = Math.max(one.backA, currentA);
      else one.plusA = Math.max(one.plusA, currentA);
      byWire.set(conductor.wire, one);
    }
    return [...byWire.values()].map(({ conductor, plusA, backA }) => {
      const { label, path, wire, ohm } = conductor;
      const most = Math.max(plusA, backA);
      const dropV = (plusA + backA) * ohm!;
      return {
        label,
        of: this.#ofWhat(path),
        path,
        amps: most,
        dropV,
        capacityA: wireRatingA(this.#prop, sectionOf(wire)!),
      };
    });
  }

  #ofWhat([section, key]: Path): string {
    if (section === 'channels') return String(key);
    const { channel, rail } = this.#prop.wires[key as number]!;
    return channel ?? rail ?? '';
  }

  // --- channels -------------------------------------------------------------------------------------

  #channels(): Pick<Drops, 'channels' | 'untraced'> {
    const channels = new Map<string, ChannelVolts>();
    const share = this.#shares();
    const drawn = (tap: Tap) =>
      tap.idleA + (tap.busyA - tap.idleA) * share.get(this.#railOf(tap)!)!;
    const base = this.#network.volts(this.#injected(this.#traced.map((tap) => [tap, drawn(tap)])));
    const railA = new Map<string, number>();
    for (const tap of this.#traced) {
      const rail = this.#railOf(tap)!;
      railA.set(rail, (railA.get(rail) ?? 0) + drawn(tap));
    }
    const byChannel = new Map<string, Tap[]>();
    for (const tap of this.#traced) {
      // A coil's voltage is not the load's.
      if (tap.rail !== undefined) continue;
      const known = byChannel.get(tap.channel);
      if (known) known.push(tap);
      else byChannel.set(tap.channel, [tap]);
    }
    for (const [name, taps] of byChannel) {
      /** The lowest voltage at a tap when these currents are added to the base case. */
      const lowest = (moreA: (tap: Tap) => number): number => {
        const volts = taps.some((tap) => moreA(tap) !== 0)
          ? this.#network.volts(this.#injected(taps.map((tap) => [tap, moreA(tap)])))
          : undefined;
        const ownA = taps.reduce((sum, tap) => sum + drawn(tap) + moreA(tap), 0);
        const at = (tap: Tap) => {
          const rail = this.#railOf(tap)!;
          const all = taps.reduce((sum, one) => sum + moreA(one), railA.get(rail)!);
          return this.#voltsAt(tap, base, volts) - this.#shunts.dropV(name, rail, ownA, all);
        };
        return Math.min(...taps.map(at));
      };
      channels.set(name, {
        along: 'the loom',
        movingV: lowest((tap) => tap.busyA - drawn(tap)),
        stallV: lowest((tap) => tap.stallA - drawn(tap)),
      });
    }
    const untraced: string[] = [];
    for (const [name, channel] of Object.entries(this.#prop.channels)) {
      const rail = railOf(this.#prop, loadRailOf(channel));
      if (channels.has(name) || !rail) continue;
      const { volts, supply } = rail;
      if (supply) {
        if (kindOf(channel).draw(channel).busyA > 0) untraced.push(name);
        continue;
      }
      const own = alongOwnWire(channel, volts);
      if (!own) continue;
      const { busyA, stallA } = kindOf(channel).draw(channel);
      const shunt = (amps: number) => this.#shunts.dropV(name, loadRailOf(channel)!, amps, amps);
      channels.set(name, {
        ...own,
        movingV: own.movingV - shunt(busyA),
        stallV: own.stallV - shunt(stallA),
      });
    }
    return { channels, untraced };
  }

  #voltsAt(tap: Tap, base: Float64Array, more: Float64Array | undefined): number {
    const rail = this.#railOf(tap)!;
    const { plus, back } = this.#circuit.sources.get(rail)!;
    const across = (from: number, to: number) =>
      base[from]! - base[to]! + (more ? more[from]! - more[to]! : 0);
    return this.#prop.rails[rail]!.volts - across(plus, tap.plus) - across(tap.back, back);
  }

  /** How far each rail may go from idle (0) to all moving (1): the daemon keeps it within its limit. */
  #shares(): Map<string, number> {
    const sums = new Map<string, { idleA: number; busyA: number }>();
    for (const tap of this.#traced) {
      const rail = this.#railOf(tap)!;
      const sum = sums.get(rail) ?? { idleA: 0, busyA: 0 };
      sum.idleA += tap.idleA;
      sum.busyA += tap.busyA;
      sums.set(rail, sum);
    }
    const shares = new Map<string, number>();
    for (const [rail, { idleA, busyA }] of sums) {
      const room = this.#prop.rails[rail]!.limitA - idleA;
      shares.set(rail, busyA <= idleA + room ? 1 : Math.max(0, room / (busyA - idleA)));
    }
    return shares;
  }

  // --- fuses ----------------------------------------------------------------------------------------

  #weakestBehind({ plus, fuse }: Source): ProtectedWire | undefined {
    const near = this.#nearby();
    const seen = new Set([fuse?.to ?? plus]);
    let weakest: ProtectedWire | undefined;
    for (const node of seen)
      for (const { from, to, label, wire } of near.get(node) ?? []) {
        const other = from === node ? to : from;
        if (other === fuse?.from) continue;
        seen.add(other);
        const section = sectionOf(wire);
        if (section === undefined) continue;
        const capacity = wireRatingA(this.#prop, section);
        if (capacity < (weakest?.capacityA ?? Number.POSITIVE_INFINITY))
          weakest = { label, capacityA: capacity };
      }
    return weakest;
  }

  /** By return wire, the rails whose loads send their current back through it. */
  #returns(): Map<Wire, { conductor: Conductor; rails: Set<string> }> {
    const found = new Map<Wire, { conductor: Conductor; rails: Set<string> }>();
    const add = (conductor: Conductor, rail: string): void => {
      const one = found.get(conductor.wire) ?? { conductor, rails: new Set() };
      one.rails.add(rail);
      found.set(conductor.wire, one);
    };
    for (const rail of this.#circuit.sources.keys()) {
      const taps = this.#traced.filter((tap) => this.#railOf(tap) === rail && tap.busyA > 0);
      if (taps.length === 0) continue;
      const all = this.#injected(taps.map((tap) => [tap, tap.busyA]));
      const amps = this.#network.amps(this.#network.volts(all));
      for (const [i, conductor] of this.#resistive.entries())
        if (isReturn(conductor) && Math.abs(amps[i]!) > FLOWS_A) add(conductor, rail);
    }
    // A conductor without a length is not in the network: use the channel or rail in the file.
    for (const conductor of this.#circuit.conductors) {
      if (!isReturn(conductor) || conductor.ohm !== undefined) continue;
      const [section, key] = conductor.path;
      const trunk = section === 'wires' ? this.#prop.wires[key as number]! : undefined;
      const channel = trunk ? trunk.channel : String(key);
      const rail =
        trunk?.rail ?? (channel === undefined ? undefined : this.#prop.channels[channel]?.rail);
      const feeds = trunk === undefined || trunk.cores.some(isPlus);
      if (rail !== undefined && feeds && this.#circuit.sources.has(rail)) add(conductor, rail);
    }
    return found;
  }

  #weakestReturn(
    rail: string,
    backs: ReadonlyMap<Wire, { conductor: Conductor; rails: ReadonlySet<string> }>,
  ): ProtectedWire | undefined {
    let weakest: ProtectedWire | undefined;
    for (const [wire, { conductor, rails }] of backs) {
      const section = sectionOf(wire);
      if (section === undefined || !rails.has(rail)) continue;
      const others = [...rails].filter((other) => other !== rail);
      const amps = others.reduce((sum, other) => {
        const { fuse, limitA } = this.#prop.rails[other]!;
        return sum + (fuse?.ratingA ?? limitA);
      }, 0);
      weakest = withLessLeft(weakest, {
        label: conductor.label,
        capacityA: wireRatingA(this.#prop, section),
        ...(others.length > 0 && { shared: { rails: others, amps } }),
      });
    }
    return weakest;
  }

  #near: Map<number, Conductor[]> | undefined;

  /** The cores at every node, without returns, which lead to all supplies. */
  #nearby(): Map<number, Conductor[]> {
    if (this.#near) return this.#near;
    const near = new Map<number, Conductor[]>();
    for (const conductor of this.#circuit.conductors) {
      if (isReturn(conductor)) continue;
      for (const node of new Set([conductor.from, conductor.to])) {
        const known = near.get(node);
        if (known) known.push(conductor);
        else near.set(node, [conductor]);
      }
    }
    this.#near = near;
    return near;
  }
}

/** The one of two wires that has less capacity left. */
function withLessLeft(
  a: ProtectedWire | undefined,
  b: ProtectedWire | undefined,
): ProtectedWire | undefined {
  if (!a || !b) return a ?? b;
  const left = ({ capacityA: most, shared }: ProtectedWire) => most - (shared?.amps ?? 0);
  return left(b) < left(a) ? b : a;
}

/** A return, or a core into a pin from a light whose plus is in the same wire. */
function leadsBack({ role, wire }: Conductor): boolean {
  return isReturn({ role }) || (!isPlus({ role }) && wire.cores.some(isPlus));
}

/** Without supply terminals in the file: as if the wire began at the supply. */
function alongOwnWire(channel: Channel, volts: number): ChannelVolts | undefined {
  const { wire } = channel;
  const ohm = wire && coreOhm(wire);
  if (ohm === undefined || !wire!.cores.some(isPlus) || !wire!.cores.some(isReturn))
    return undefined;
  const { busyA, stallA } = kindOf(channel).draw(channel);
  const left = (amps: number) => volts - amps * 2 * ohm;
  return { along: 'its own wire', movingV: left(busyA), stallV: left(stallA) };
}

/** The shunts that measure the current of a rail or of one channel. */
interface Shunts {
  /**
   * What is missing at a channel (V).
   * @param ownA its own current @param railA that of its whole rail
   */
  dropV(channel: string, rail: string, ownA: number, railA: number): number;
}

/** A meter is between the supply and all that it measures. */
function shuntDrops(prop: Prop): Shunts {
  const ofRail = new Map<string, number>();
  const ofChannel = new Map<string, number>();
  for (const { rail, channel, ohm } of shuntsOf(prop))
    if (channel !== undefined) ofChannel.set(channel, (ofChannel.get(channel) ?? 0) + ohm);
    else if (rail !== undefined) ofRail.set(rail, (ofRail.get(rail) ?? 0) + ohm);
  return {
    dropV: (channel, rail, ownA, railA) =>
      shuntV(railA, ofRail.get(rail) ?? 0) + shuntV(ownA, ofChannel.get(channel) ?? 0),
  };
}

/** For each node, the number of its connected part of the network. */
export function parts(
  nodes: number,
  branches: readonly { from: number; to: number }[],
): Int32Array {
  const part = Int32Array.from({ length: nodes }, (_, node) => node);
  const root = (node: number): number => {
    let at = node;
    while (part[at] !== at) {
      part[at] = part[part[at]!]!;
      at = part[at]!;
    }
    return at;
  };
  for (const { from, to } of branches) part[root(from)] = root(to);
  for (let node = 0; node < nodes; node++) part[node] = root(node);
  return part;
}
