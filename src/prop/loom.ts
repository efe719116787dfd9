import type { Power } from '../boards/facts.ts';
import { factsOf } from '../boards/registry.ts';
import { boardConnectors } from './board-connectors.ts';
import type { Path } from './finding.ts';
import { grouped, splitEnd } from './loom-words.ts';
import type { Prop, Wire } from './schema.ts';

/**
 * The loom as a model: every wire of a prop file, the contents of each cavity of each connector, and what
 * is joined. Built in one pass; nothing in it is quadratic.
 */

export type Core = Wire['cores'][number];

/** A wire as clients get it: a channel's own, or one under `wires`. */
export interface LoomWire {
  label: string;
  /** The channel that it belongs to, if any; a feed has none. */
  channel?: string;
  /** The rail that it carries, if it is not a channel's own wire. */
  rail?: string;
  gaugeAwg?: number;
  sectionMm2?: number;
  lengthM?: number;
  /** Where in the prop its channel sits: wires to one place run together. */
  place?: string;
  cores: Core[];
}

/** A wire and its path in the prop file. */
export interface PlacedWire extends LoomWire {
  path: Path;
  /** It is the channel's own `wire`, not one of `wires`. */
  own: boolean;
}

/** One end of one core. */
export interface CoreEnd {
  wire: PlacedWire;
  core: Core;
  /** Index of the core in the wire, from 0. */
  index: number;
  side: 'from' | 'to';
  connector: string;
  cavity: string;
  other: string;
}

/** What a core carries, by its role: the supply's plus, its return, or a signal. */
type CoreKind = 'plus' | 'return' | 'signal';

const PLUS = new Set(['plus', 'positive', 'supply', '+']);
const RETURN = new Set(['return', 'ground', 'gnd', 'minus', 'negative', '-', '0v']);

/** What a core carries, by its role (upper or lower case); `signal` if that is neither plus nor return. */
export function coreKind({ role }: Pick<Core, 'role'>): CoreKind {
  const word = role.toLowerCase();
  if (PLUS.has(word)) return 'plus';
  return RETURN.has(word) ? 'return' : 'signal';
}

/** Something that conducts from one end to another. */
export type Link =
  | { kind: 'core'; wire: PlacedWire; core: Core; from: string; to: string }
  | { kind: 'fuse'; rail: string; from: string; to: string };

/** What a cavity of a board's connector carries. */
interface BoardPin {
  board: string;
  /** GPIO of the header, or output of the chip; absent for power and ground. */
  pin?: number;
  power?: Power;
}

/** The wires of a prop with their ends looked up: what is joined, and the way from each supply. */
export class Loom {
  readonly prop: Prop;
  readonly wires: readonly PlacedWire[];
  /** Connector to cavity to the ends of cores in it; includes cavities that only `connectors` names. */
  readonly connectors: ReadonlyMap<string, ReadonlyMap<string, readonly CoreEnd[]>>;
  readonly byChannel: ReadonlyMap<string, readonly PlacedWire[]>;
  readonly byLabel: ReadonlyMap<string, readonly PlacedWire[]>;
  /** Connector to the board whose pins it carries. */
  readonly boards: ReadonlyMap<string, string>;
  /** Ends that are joined without a wire: one cavity, a bridge, the grounds of a board. */
  readonly #joined = new Joined();
  /** Ends that are electrically joined, including through wires and fuses. */
  readonly #nets = new Joined();
  readonly #links = new Map<string, { link: Link; to: string }[]>();
  readonly #feeds = new Map<string, ReadonlyMap<string, Hop>>();

  constructor(prop: Prop) {
    this.prop = prop;
    this.wires = wiresOf(prop);
    this.byChannel = grouped(this.wires, ({ channel }) => channel);
    this.byLabel = grouped(this.wires, ({ label }) => label);
    this.connectors = connectorsOf(prop, this.wires);
    this.boards = boardConnectors(prop);
    this.#bridge();
    for (const wire of this.wires) {
      for (const core of wire.cores)
        this.#link({ kind: 'core', wire, core, from: core.from, to: core.to });
    }
    for (const [rail, { fuse }] of Object.entries(prop.rails)) {
      if (fuse) this.#link({ kind: 'fuse', rail, from: fuse.from, to: fuse.to });
    }
  }

  /** Whether the file has any wiring at all. */
  get hasWiring(): boolean {
    return this.wires.length > 0 || Object.keys(this.prop.connectors).length > 0;
  }

  /** The same text for ends that are joined without a wire between them. */
  junction(end: string): string {
    return this.#joined.find(end);
  }

  /** The same text for ends with a conducting path between them while the prop is off. */
  net(end: string): string {
    return this.#nets.find(end);
  }

  /** What an end is on a board; undefined when it is not on a board. */
  boardPin(end: string): BoardPin | undefined {
    const { connector, cavity } = splitEnd(end);
    const board = this.boards.get(connector);
    if (board === undefined || !/^\d{1,2}$/.test(cavity)) return undefined;
    const place = factsOf(this.prop.boards[board]!).at(Number(cavity));
    return place && { board, ...place };
  }

  /** The end of a pin on a board's connector: GPIO 18 is `J1-12`. Undefined without a connector. */
  endOfPin(board: string, pin: number): string | undefined {
    const connector = [...this.boards].find(([, name]) => name === board)?.[0];
    if (connector === undefined) return undefined;
    const cavity = factsOf(this.prop.boards[board]!).cavityOf(pin);
    return cavity === undefined ? undefined : `${connector}-${cavity}`;
  }

  /**
   * The links that the current passes from a rail's supply to an end, in order; empty when the end is
   * joined to the terminal, undefined when nothing leads there or the supply is not named.
   */
  route(rail: string, pole: 'plus' | 'return', end: string): Link[] | undefined {
    const start = this.prop.rails[rail]?.supply?.[pole];
    if (start === undefined) return undefined;
    const hops = this.#feed(start);
    const links: Link[] = [];
    for (let at = this.junction(end); at !== this.junction(start); ) {
      const hop = hops.get(at);
      if (!hop) return undefined;
      links.push(hop.link);
      at = hop.before;
    }
    return links.reverse();
  }

  /** For every junction that the current reaches from `start`, the last link of the shortest way. */
  #feed(start: string): ReadonlyMap<string, Hop> {
    const known = this.#feeds.get(start);
    if (known) return known;
    const origin = this.junction(start);
    const hops = new Map<string, Hop>();
    const queue = [origin];
    for (const before of queue) {
      for (const { link, to } of this.#links.get(before) ?? []) {
        const next = this.junction(to);
        if (next === origin || hops.has(next)) continue;
        const from = to === link.to ? link.from : link.to;
        hops.set(next, { before, link: { ...link, from, to } });
        queue.push(next);
      }
    }
    this.#feeds.set(start, hops);
    return hops;
  }

  #bridge(): void {
    const join = (ends: readonly string[]) => {
      for (const end of ends.slice(1)) {
        this.#joined.join(ends[0]!, end);
        this.#nets.join(ends[0]!, end);
      }
    };
    for (const [name, { bridged }] of Object.entries(this.prop.connectors))
      for (const cavities of bridged ?? []) join(cavities.map((cavity) => `${name}-${cavity}`));
    for (const [name, board] of this.boards) {
      const { power } = factsOf(this.prop.boards[board]!);
      if (!power) continue;
      for (const cavities of Object.values(power)) join(cavities.map((one) => `${name}-${one}`));
    }
  }

  #link(link: Link): void {
    const { from, to } = link;
    this.#nets.join(from, to);
    for (const [at, other] of [
      [from, to],
      [to, from],
    ] as const) {
      const junction = this.junction(at);
      const links = this.#links.get(junction);
      if (links) links.push({ link, to: other });
      else this.#links.set(junction, [{ link, to: other }]);
    }
  }
}

interface Hop {
  before: string;
  /** In the direction away from the supply. */
  link: Link;
}

/** Every wire of a prop file: the channels' own, then the others. */
export function wiresOf(prop: Prop): PlacedWire[] {
  const placeOf = (channel: string | undefined) => {
    const known = channel !== undefined && Object.hasOwn(prop.channels, channel);
    const place = known ? prop.channels[channel]!.place : undefined;
    return place === undefined ? {} : { place };
  };
  const own = Object.entries(prop.channels).flatMap(([channel, { wire }]) => {
    const path = ['channels', channel, 'wire'];
    return wire ? [{ ...wire, channel, ...placeOf(channel), path, own: true }] : [];
  });
  const others = prop.wires.map((wire, i) => ({
    ...{ ...wire, ...placeOf(wire.channel) },
    ...{ path: ['wires', i], own: false },
  }));
  return [...own, ...others];
}

function connectorsOf(
  prop: Prop,
  wires: readonly PlacedWire[],
): Map<string, Map<string, CoreEnd[]>> {
  const connectors = new Map<string, Map<string, CoreEnd[]>>();
  const at = (connector: string, cavity: string): CoreEnd[] => {
    const cavities = connectors.get(connector) ?? new Map<string, CoreEnd[]>();
    connectors.set(connector, cavities);
    const ends = cavities.get(cavity) ?? [];
    cavities.set(cavity, ends);
    return ends;
  };
  for (const name of Object.keys(prop.connectors)) connectors.set(name, new Map());
  for (const { supply, fuse } of Object.values(prop.rails)) {
    for (const end of [supply?.plus, supply?.return, fuse?.from, fuse?.to]) {
      if (end === undefined) continue;
      const { connector, cavity } = splitEnd(end);
      at(connector, cavity);
    }
  }
  for (const wire of wires) {
    for (const [index, core] of wire.cores.entries()) {
      for (const side of ['from', 'to'] as const) {
        const { connector, cavity } = splitEnd(core[side]);
        const other = core[side === 'from' ? 'to' : 'from'];
        at(connector, cavity).push({ wire, core, index, side, connector, cavity, other });
      }
    }
  }
  return connectors;
}

/** Sets that grow together (union-find: Tarjan, 1975; path halving, the larger set stays). */
class Joined {
  readonly #parent = new Map<string, string>();
  readonly #size = new Map<string, number>();

  find(thing: string): string {
    let at = thing;
    for (;;) {
      const up = this.#parent.get(at) ?? at;
      if (up === at) return at;
      const above = this.#parent.get(up) ?? up;
      this.#parent.set(at, above);
      at = above;
    }
  }

  join(a: string, b: string): void {
    const [one, other] = [this.find(a), this.find(b)];
    if (one === other) return;
    const [sizeOne, sizeOther] = [this.#size.get(one) ?? 1, this.#size.get(other) ?? 1];
    const [root, child] = sizeOne >= sizeOther ? [one, other] : [other, one];
    this.#parent.set(child, root);
    this.#size.set(root, sizeOne + sizeOther);
  }
}
