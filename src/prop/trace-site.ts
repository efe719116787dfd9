import { factsOf } from '../boards/registry.ts';
import { coreOhm } from './circuit.ts';
import { contactEnds } from './contact-ends.ts';
import { relayOf } from './kinds/channel.ts';
import { terminalsOf } from './kinds/contact.ts';
import type { Kind } from './kinds/kind.ts';
import { switchedOf } from './kinds/polarity.ts';
import { kindOf } from './kinds/registry.ts';
import { isLowSide } from './kinds/through-words.ts';
import { type Core, coreKind, type Link, Loom, type PlacedWire } from './loom.ts';
import { splitEnd } from './loom-words.ts';
import { type Shunt, shuntsBefore } from './measuring-path.ts';
import type { Channel, Prop } from './schema.ts';

/** A core of the channel's own wire, in the direction from the supply or board to the plug. */
interface Lead {
  wire: PlacedWire;
  core: Core;
  near: string;
  far: string;
}

/** Two ends between which to measure. */
export interface Pair {
  plus: string;
  return: string;
}

/** A channel in the loom: its leads, and the path of its current. */
export class Site {
  readonly prop: Prop;
  readonly loom: Loom;
  readonly name: string;
  readonly channel: Channel;
  readonly kind: Kind;
  /** The rail that feeds the plug, if the file shows it. */
  readonly rail: string | undefined;
  readonly signals: readonly Lead[];
  readonly plus: Lead | undefined;
  readonly back: Lead | undefined;
  /** The rail that feeds a relay's load. */
  readonly loadRail: string | undefined;
  /** Cores of a relay's load circuit. */
  readonly load: readonly Lead[];
  /** The terminals of a relay's contact, the supply's side first. */
  readonly contact: { near: string; far: string } | undefined;
  /** Shunts in plus, between the supply and its load. */
  readonly shunts: readonly Shunt[];
  /** Cores from the transistors that switch a light to its LEDs, one for each colour. */
  readonly legs: readonly Lead[];

  constructor(prop: Prop, name: string) {
    this.prop = prop;
    this.loom = new Loom(prop);
    this.name = name;
    this.channel = prop.channels[name]!;
    this.kind = kindOf(this.channel);
    const wires = this.loom.byChannel.get(name) ?? [];
    const isLoad = (wire: PlacedWire) => this.kind.switches && !wire.own;
    const cores = (some: readonly PlacedWire[]) =>
      some.flatMap((wire) => wire.cores.map((core) => ({ wire, core })));
    const ours = cores(wires.filter((wire) => !isLoad(wire)));
    this.rail = this.#feedingRail(ours);
    const leads = ours.map(({ wire, core }) => this.#lead(wire, core, this.rail));
    const switched = isLowSide(switchedOf(this.channel)?.through);
    const isLeg = ({ wire, core }: Lead) => switched && !wire.own && coreKind(core) === 'signal';
    this.legs = leads.filter((lead) => isLeg(lead) && !this.kind.switches);
    this.signals = leads.filter((lead) => coreKind(lead.core) === 'signal' && !isLeg(lead));
    this.plus = leads.find(({ core }) => coreKind(core) === 'plus');
    this.back = leads.find(({ core }) => coreKind(core) === 'return');
    const loadCores = cores(wires.filter(isLoad));
    this.loadRail = this.#loadRail(loadCores.map(({ core }) => core));
    this.load = loadCores.map(({ wire, core }) =>
      this.#lead(wire, core, wire.rail ?? this.loadRail),
    );
    this.shunts = shuntsBefore(prop, name);
    this.contact = this.#contact(ours.map(({ core }) => core));
  }

  /** Voltage of the rail at the plug (V). */
  get volts(): number | undefined {
    return this.rail === undefined ? undefined : this.prop.rails[this.rail]?.volts;
  }

  /** The terminals of that rail's supply, if the file names them. */
  get supply(): Pair | undefined {
    return this.rail === undefined ? undefined : this.prop.rails[this.rail]?.supply;
  }

  /** That rail's fuse, if it has one. */
  get fuse() {
    return this.rail === undefined ? undefined : this.prop.rails[this.rail]?.fuse;
  }

  /** The last supply terminals before the channel's own wire. */
  get block(): Pair | undefined {
    const back = this.back?.near ?? this.supply?.return;
    return this.plus && back !== undefined ? { plus: this.plus.near, return: back } : undefined;
  }

  /** The ends between which to measure at the plug: its plus and `reference`. */
  get plug(): Pair | undefined {
    const back = this.reference;
    return this.plus && back !== undefined ? { plus: this.plus.far, return: back } : undefined;
  }

  /** The reference for voltages at the plug: its return, or else the supply's. */
  get reference(): string | undefined {
    return this.back?.far ?? this.supply?.return;
  }

  /** The links from the supply to an end; empty when the file does not show them. */
  way(pole: 'plus' | 'return', end: string): readonly Link[] {
    return (this.rail === undefined ? undefined : this.loom.route(this.rail, pole, end)) ?? [];
  }

  /** A relay's load is connected to the normally closed contact. */
  get fedAtRest(): boolean {
    const relay = relayOf(this.channel);
    if (!relay) return false;
    const own = this.signals.map(({ core }) => core);
    return (
      contactEnds(
        relay,
        own,
        this.load.map(({ core }) => core),
      )?.used === 'closed'
    );
  }

  /** The links from the supply to a contact, and from its load back. */
  loadWay(): readonly Link[] {
    if (this.loadRail === undefined || !this.contact) return [];
    const back = this.load.find(({ core }) => coreKind(core) === 'return');
    return [
      ...(this.loom.route(this.loadRail, 'plus', this.contact.near) ?? []),
      ...(back ? (this.loom.route(this.loadRail, 'return', back.near) ?? []) : []),
    ];
  }

  /** Current of the channel moving or fully on (A); a relay's input counts as 0. */
  get amps(): number {
    return this.kind.switches ? 0 : this.kind.draw(this.channel).busyA;
  }

  /** Volts between two ends while only this channel is busy: the rail's voltage less the drop on the way. */
  voltsAt({ plus, return: back }: Pair): number | undefined {
    if (this.volts === undefined) return undefined;
    const links = [...this.way('plus', plus), ...this.way('return', back)];
    const ohms = links.reduce((sum, link) => sum + (linkOhms(link) ?? 0), 0);
    return this.volts - this.amps * (ohms + this.shuntOhm(plus));
  }

  /** The shunts before an end of plus, together (ohm): one of the channel alone is before its plug. */
  shuntOhm(plus: string): number {
    if (this.kind.switches) return 0;
    const isBefore = ({ channel }: Shunt) => channel === undefined || plus === this.plus?.far;
    return this.shunts.filter(isBefore).reduce((sum, { ohm }) => sum + ohm, 0);
  }

  /** The ground of the board's connector that is nearest to another cavity of it. */
  groundNear(end: string): string | undefined {
    const { connector, cavity } = splitEnd(end);
    const board = this.loom.boardPin(end)?.board;
    const grounds = board === undefined ? [] : factsOf(this.prop.boards[board]!).power?.ground;
    if (!grounds?.length) return undefined;
    // Row and column, as on the header.
    const place = (number: number) => [(number - 1) >> 1, (number - 1) & 1] as const;
    const [row, column] = place(Number(cavity));
    let best: number | undefined;
    let least = Number.POSITIVE_INFINITY;
    for (const ground of grounds) {
      const [r, c] = place(ground);
      const distance = Math.hypot(r - row, c - column);
      if (distance < least) [best, least] = [ground, distance];
    }
    return `${connector}-${best}`;
  }

  /** Everything between the supply and the channel, in the order of the current. */
  dependence() {
    const ours = [...this.signals, this.plus, this.back, ...this.legs].filter(
      (lead) => lead !== undefined,
    );
    const leads = [...ours, ...this.load];
    const links = [
      ...(this.plus ? this.way('plus', this.plus.near) : []),
      ...(this.back ? this.way('return', this.back.near) : []),
    ];
    const loadLinks = this.loadWay();
    const wireOf = (link: Link) => (link.kind === 'core' ? [link.wire.label] : []);
    const wires = new Set([
      ...links.flatMap(wireOf),
      ...ours.map(({ wire }) => wire.label),
      ...loadLinks.flatMap(wireOf),
      ...this.load.map(({ wire }) => wire.label),
    ]);
    const ends = [
      ...links.flatMap(({ from, to }) => [from, to]),
      ...ours.flatMap(({ near, far }) => [near, far]),
      ...loadLinks.flatMap(({ from, to }) => [from, to]),
      ...this.load.flatMap(({ near, far }) => [near, far]),
    ];
    const fuse = links.some((link) => link.kind === 'fuse' && link.rail === this.rail);
    return {
      rail: this.rail ?? this.channel.rail,
      fuse: fuse && this.fuse ? splitEnd(this.fuse.from).connector : undefined,
      wires: [...wires],
      connectors: [...new Set(ends.map((end) => splitEnd(end).connector))],
      gaps: this.#gaps([...links, ...loadLinks], leads),
    };
  }

  #gaps(links: readonly Link[], leads: readonly Lead[]): string[] {
    const gaps: string[] = [];
    if (leads.length === 0) gaps.push(`${this.name} has no wire in the file: add it`);
    const rail = this.rail ?? this.channel.rail;
    if (rail === undefined) gaps.push(`${this.name} names no rail: no voltage can be worked out`);
    else if (!this.prop.rails[rail]?.supply)
      gaps.push(`rail ${rail} names no supply: give its terminals, fuse and feed wires`);
    else if (this.plus && this.loom.route(rail, 'plus', this.plus.near) === undefined)
      gaps.push(`no wire leads from the supply of ${rail} to ${this.plus.near}`);
    const thin = new Set(
      [
        ...links.flatMap((link) => (link.kind === 'core' ? [link.wire] : [])),
        ...leads.map(({ wire }) => wire),
      ]
        .filter((wire) => coreOhm(wire) === undefined)
        .map(({ label }) => label),
    );
    if (thin.size > 0)
      gaps.push(
        `no gauge or no length of ${[...thin].join(', ')}: their resistance is not counted`,
      );
    return gaps;
  }

  /** As the file says, or else the rail that is wired to it, or else the channel's own. */
  #loadRail(load: readonly Core[]): string | undefined {
    const relay = relayOf(this.channel);
    if (!relay || load.length === 0) return undefined;
    const given = terminalsOf(relay)?.rail;
    if (given !== undefined) return given;
    const plus = load.filter((core) => coreKind(core) === 'plus').map(({ from }) => from);
    const reached = Object.entries(this.prop.rails).find(
      ([, { supply }]) =>
        supply && plus.some((end) => this.loom.net(end) === this.loom.net(supply.plus)),
    );
    return reached?.[0] ?? this.channel.rail;
  }

  /** By its terminals or, without them, where the supply's wiring ends and the next wire begins. */
  #contact(own: readonly Core[]): Site['contact'] {
    const relay = relayOf(this.channel);
    if (!relay) return undefined;
    const cores = this.load.map(({ core }) => core);
    const ends = contactEnds(relay, own, cores);
    const plus = this.load.filter(({ core }) => coreKind(core) !== 'return');
    const isFed = (end: string) =>
      this.loadRail !== undefined && this.loom.route(this.loadRail, 'plus', end) !== undefined;
    if (ends?.used) {
      const other = ends[ends.used]!;
      // The supply may be on either side of a contact.
      return isFed(other) && !isFed(ends.common)
        ? { near: other, far: ends.common }
        : { near: ends.common, far: other };
    }
    const out = plus.find(({ near }) => !isFed(near));
    const into = plus.findLast(
      ({ far, near }) => isFed(near) && !plus.some((one) => one.near === far) && !this.#isFuse(far),
    );
    return into && out ? { near: into.far, far: out.near } : undefined;
  }

  #isFuse(end: string): boolean {
    return Object.values(this.prop.rails).some(
      ({ fuse }) => fuse?.from === end || fuse?.to === end,
    );
  }

  /** The rail of the leads: as wired, or else the channel's. */
  #feedingRail(ours: readonly { core: Core }[]): string | undefined {
    const plus = ours.find(({ core }) => coreKind(core) === 'plus');
    const reached = Object.entries(this.prop.rails).find(
      ([, { supply }]) =>
        supply && plus && this.loom.net(supply.plus) === this.loom.net(plus.core.from),
    );
    // A relay's input may have another feed than its load.
    return reached?.[0] ?? (this.kind.switches ? undefined : this.channel.rail);
  }

  /** In the direction from the board or the supply to the plug; as written if that is unknown. */
  #lead(wire: PlacedWire, core: Core, rail: string | undefined): Lead {
    const { from, to } = core;
    const kind = coreKind(core);
    const turned = { wire, core, near: to, far: from };
    const straight = { wire, core, near: from, far: to };
    if (kind === 'signal') return this.loom.boardPin(to) ? turned : straight;
    if (rail === undefined) return straight;
    const steps = (end: string) =>
      this.loom.route(rail, kind, end)?.length ?? Number.POSITIVE_INFINITY;
    return steps(to) < steps(from) ? turned : straight;
  }
}

/** A fuse counts as unknown: its resistance is small and rarely published. */
export function linkOhms(link: Link): number | undefined {
  return link.kind === 'core' ? coreOhm(link.wire) : undefined;
}
