import { factsOf } from '../boards/registry.ts';
import { awgSectionMm2, ohmPerMetre } from '../sums/wire.ts';
import { boardConnectors } from './board-connectors.ts';
import { contactEnds } from './contact-ends.ts';
import type { Path } from './finding.ts';
import { lightOf, relayOf } from './kinds/channel.ts';
import { coilLoadOf } from './kinds/contact.ts';
import { kindOf } from './kinds/registry.ts';
import { throughOf } from './kinds/through.ts';
import { isLowSide } from './kinds/through-words.ts';
import { type Core, coreKind } from './loom.ts';
import { splitEnd } from './loom-words.ts';
import type { Channel, Prop, Wire } from './schema.ts';

/** The wires that carry a prop's supply currents, as a network of resistors and loads. */

/** A core of a wire. */
export interface Conductor {
  label: string;
  /** The wire's place in the prop file. */
  path: Path;
  wire: Wire;
  role: string;
  /** Undefined if the file does not give length or size: it then counts as 0 ohm. */
  ohm: number | undefined;
  from: number;
  to: number;
}

/** The point where a channel, or one colour of it, draws its current. */
export interface Tap {
  channel: string;
  /** The rail of a relay's coil, if the contact has a rail of its own. */
  rail?: string;
  plus: number;
  back: number;
  /** Current at rest, moving or fully on, and stalled (A). */
  idleA: number;
  busyA: number;
  stallA: number;
}

/** The nodes of a rail's supply terminals and of both sides of its fuse. */
export interface Source {
  plus: number;
  back: number;
  fuse?: { from: number; to: number };
}

/** The loom as a resistor network; nodes are numbered from 0. */
export interface Circuit {
  nodes: number;
  conductors: Conductor[];
  taps: Tap[];
  /** Rails whose supply terminals are in the file. */
  sources: Map<string, Source>;
  /** The node of an end of a wire; undefined where the supply's wires do not come. */
  nodeOf(end: string): number | undefined;
}

/** Section of a wire's cores (mm2), if the file gives it. */
export function sectionOf({ gaugeAwg, sectionMm2 }: Wire): number | undefined {
  return sectionMm2 ?? (gaugeAwg === undefined ? undefined : awgSectionMm2(gaugeAwg));
}

/** Resistance of one core (ohm, copper at 20 C), if the file gives length and size. */
export function coreOhm(wire: Wire): number | undefined {
  const section = sectionOf(wire);
  if (section === undefined || wire.lengthM === undefined) return undefined;
  return ohmPerMetre(section) * wire.lengthM;
}

/** Whether a core carries the supply. */
export const isPlus = (core: { role: string }) => coreKind(core) === 'plus';
/** Whether a core carries the supply's return. */
export const isReturn = (core: { role: string }) => coreKind(core) === 'return';

/**
 * Builds the network. Bridged cavities of a connector are one node, and so are the ground pins of a
 * header, its 5 V pins, and the contact of a relay. A light that is connected directly to its pins gets
 * through them what its own wire lacks: plus from the header's 5 V, or return into its ground. A
 * transistor that conducts joins its colour to the return of the wire that leads to it.
 */
export function circuitOf(prop: Prop): Circuit {
  const nodes = new Nodes();
  const headers = joinConnectors(prop, nodes);
  const conductors: Conductor[] = [];
  const taps: Tap[] = [];
  const add = (wire: Wire, path: Path, carries: (core: Core) => boolean): void => {
    const ohm = coreOhm(wire);
    for (const core of wire.cores) {
      if (!carries(core)) continue;
      const [from, to] = [nodes.at(core.from), nodes.at(core.to)];
      if (ohm === undefined) nodes.join(from, to);
      conductors.push({ label: wire.label, path, wire, role: core.role, ohm, from, to });
    }
  };
  const supplies = (core: Core) => isPlus(core) || isReturn(core);
  const loads = new Map<string, Core[]>();
  for (const [i, trunk] of prop.wires.entries()) {
    const spec = Object.hasOwn(prop.channels, trunk.channel ?? '')
      ? prop.channels[trunk.channel!]!
      : undefined;
    const legs = new Set(spec ? legsOf(spec, spec.wire?.cores ?? [], trunk.cores) : []);
    const cores = new Set([...legs].map(({ core }) => core));
    add(trunk, ['wires', i], (core) => supplies(core) || cores.has(core));
    if (trunk.channel === undefined) continue;
    const known = loads.get(trunk.channel);
    if (known) known.push(...trunk.cores);
    else loads.set(trunk.channel, [...trunk.cores]);
  }
  for (const [name, channel] of Object.entries(prop.channels)) {
    const own = channel.wire?.cores ?? [];
    const load = loads.get(name) ?? [];
    const legs = legsOf(channel, own, load);
    const pins = new Set(legs.map(({ core }) => core));
    if (channel.wire)
      add(channel.wire, ['channels', name, 'wire'], (core) => supplies(core) || pins.has(core));
    const relay = relayOf(channel);
    const contact = relay && contactEnds(relay, own, load);
    if (contact?.used) nodes.join(nodes.at(contact[contact.used]!), nodes.at(contact.common));
    const back = farEnd(own, isReturn);
    for (const { near, direct } of legs) {
      const header = direct ? headers.get(splitEnd(near).connector) : undefined;
      if (header !== undefined)
        nodes.join(nodes.at(near), own.some(isPlus) ? header.ground : header.plus);
      else if (!direct && back !== undefined) nodes.join(nodes.at(near), nodes.at(back));
    }
    taps.push(
      ...tapsOf(name, channel, own, load, legs, nodes),
      ...coilTaps(name, channel, own, nodes),
    );
  }
  const sources = new Map<string, Source>();
  for (const [name, { supply, fuse }] of Object.entries(prop.rails)) {
    if (!supply) continue;
    const source: Source = { plus: nodes.at(supply.plus), back: nodes.at(supply.return) };
    if (fuse) source.fuse = { from: nodes.at(fuse.from), to: nodes.at(fuse.to) };
    sources.set(name, source);
  }
  return numbered(nodes, conductors, taps, sources);
}

/** Joins bridged cavities; returns the ground and the 5 V of every header. */
function joinConnectors(prop: Prop, nodes: Nodes) {
  const headers = new Map<string, { ground: number; plus: number }>();
  for (const [name, { bridged = [] }] of Object.entries(prop.connectors))
    for (const [first, ...others] of bridged)
      for (const other of others)
        nodes.join(nodes.at(`${name}-${first}`), nodes.at(`${name}-${other}`));
  for (const [name, board] of boardConnectors(prop)) {
    const { power } = factsOf(prop.boards[board]!);
    if (!power) continue;
    const joined = (cavities: readonly number[]) => {
      const node = nodes.at(`${name}-${cavities[0]}`);
      for (const cavity of cavities) nodes.join(nodes.at(`${name}-${cavity}`), node);
      return node;
    };
    headers.set(name, { ground: joined(power.ground), plus: joined(power['5 V']) });
  }
  return headers;
}

/** A core that carries the current of one colour of a light, from its switch to the LED. */
interface Leg {
  core: Core;
  near: string;
  far: string;
  /** It begins at the pin itself, not at a transistor. */
  direct: boolean;
}

/**
 * The cores that carry a light's switched current: from its pins, or from the transistors between, at
 * which its own wire ends.
 */
function legsOf(channel: Channel, own: readonly Core[], load: readonly Core[]): Leg[] {
  const kind = kindOf(channel);
  const light = lightOf(channel);
  if (!light) return [];
  const signal = (core: Core) => !isPlus(core) && !isReturn(core);
  const outputs = kind.outputs(channel).length;
  if (isLowSide(light.through)) {
    const boards = new Set(own.filter(signal).map(({ to }) => splitEnd(to).connector));
    const legs = load.filter(signal).flatMap((core): Leg[] => {
      const { from, to } = core;
      if (boards.has(splitEnd(from).connector))
        return [{ core, near: from, far: to, direct: false }];
      if (boards.has(splitEnd(to).connector)) return [{ core, near: to, far: from, direct: false }];
      return [];
    });
    return legs.length === outputs ? legs : [];
  }
  if (own.some(isPlus) === own.some(isReturn) || throughOf(light) !== 'nothing') return [];
  const others = own.filter(signal);
  if (others.length !== outputs) return [];
  return others.map((core) => ({ core, near: core.from, far: core.to, direct: true }));
}

/** Where a relay's coil or module draws its current, if the contact has a rail of its own. */
function coilTaps(channel: string, spec: Channel, own: readonly Core[], nodes: Nodes): Tap[] {
  const coil = coilLoadOf(spec);
  const [plus, back] = [farEnd(own, isPlus), farEnd(own, isReturn)];
  if (!coil || plus === undefined || back === undefined) return [];
  const { rail, amps } = coil;
  const ends = { plus: nodes.at(plus), back: nodes.at(back) };
  return [{ channel, rail, ...ends, idleA: 0, busyA: amps, stallA: amps }];
}

/** Where a channel draws its current: at the far end of its load circuit, or of its own wire. */
function tapsOf(
  channel: string,
  spec: Channel,
  own: readonly Core[],
  load: readonly Core[],
  legs: readonly Leg[],
  nodes: Nodes,
): Tap[] {
  const { idleA, busyA, stallA, pinsA } = kindOf(spec).draw(spec);
  const plus = farEnd(load, isPlus) ?? farEnd(own, isPlus);
  const back = farEnd(load, isReturn) ?? farEnd(own, isReturn);
  const switched = legs.some(({ direct }) => !direct);
  if (plus !== undefined && back !== undefined && !switched)
    return [{ channel, plus: nodes.at(plus), back: nodes.at(back), idleA, busyA, stallA }];
  const common = plus ?? back;
  if (common === undefined) return [];
  return legs.map(({ far }, i) => {
    const fullA = pinsA[i]!;
    const share = busyA > 0 ? fullA / busyA : 0;
    const ends = { own: nodes.at(far), common: nodes.at(common) };
    return {
      channel,
      plus: plus === undefined ? ends.own : ends.common,
      back: plus === undefined ? ends.common : ends.own,
      idleA: idleA * share,
      busyA: fullA,
      stallA: fullA,
    };
  });
}

/** The end of the last core of a kind: the one at which no other core of that kind starts. */
function farEnd(cores: readonly Core[], kind: (core: Core) => boolean): string | undefined {
  const chain = cores.filter(kind);
  return chain.findLast(({ to }) => !chain.some(({ from }) => from === to))?.to;
}

/** Numbers the remaining nodes from 0, after some were joined. */
function numbered(
  nodes: Nodes,
  conductors: Conductor[],
  taps: Tap[],
  sources: Map<string, Source>,
): Circuit {
  const numbers = new Map<number, number>();
  const number = (node: number): number => {
    const root = nodes.root(node);
    let found = numbers.get(root);
    if (found === undefined) {
      found = numbers.size;
      numbers.set(root, found);
    }
    return found;
  };
  for (const conductor of conductors) {
    conductor.from = number(conductor.from);
    conductor.to = number(conductor.to);
  }
  for (const tap of taps) {
    tap.plus = number(tap.plus);
    tap.back = number(tap.back);
  }
  for (const source of sources.values()) {
    source.plus = number(source.plus);
    source.back = number(source.back);
    if (source.fuse) source.fuse = { from: number(source.fuse.from), to: number(source.fuse.to) };
  }
  return {
    nodes: numbers.size,
    conductors,
    taps,
    sources,
    nodeOf: (end) => {
      const node = nodes.find(end);
      return node === undefined ? undefined : numbers.get(nodes.root(node));
    },
  };
}

/** Ends of wires, by name; joined ends have the same root. */
class Nodes {
  readonly #byName = new Map<string, number>();
  readonly #parent: number[] = [];

  find(end: string): number | undefined {
    return this.#byName.get(end);
  }

  at(end: string): number {
    let node = this.#byName.get(end);
    if (node === undefined) {
      node = this.#parent.length;
      this.#byName.set(end, node);
      this.#parent.push(node);
    }
    return node;
  }

  root(node: number): number {
    let root = node;
    while (this.#parent[root] !== root) {
      this.#parent[root] = this.#parent[this.#parent[root]!]!;
      root = this.#parent[root]!;
    }
    return root;
  }

  join(a: number, b: number): void {
    this.#parent[this.root(a)] = this.root(b);
  }
}
