import type { Power } from '../boards/facts.ts';
import { factsOf } from '../boards/registry.ts';
import { boardConnectors } from '../prop/board-connectors.ts';
import { DROP_SHARE, wiringBudgetOf } from '../prop/budget.ts';
import type { Edit } from '../prop/edit-text.ts';
import { type LightChannel, lightOf, relayOf, servoOf } from '../prop/kinds/channel.ts';
import { coilLoadOf, loadRailOf, terminalsOf } from '../prop/kinds/contact.ts';
import { activeLow } from '../prop/kinds/polarity.ts';
import { kindOf } from '../prop/kinds/registry.ts';
import { throughOf } from '../prop/kinds/through.ts';
import { isLowSide } from '../prop/kinds/through-words.ts';
import { type Core, coreKind, Loom } from '../prop/loom.ts';
import { splitEnd } from '../prop/loom-words.ts';
import type { Channel, Prop, RelayChannel, Wire } from '../prop/schema.ts';
import { wireRatingA } from '../prop/wire-rating.ts';
import { tidy } from '../shared/units.ts';
import { type FuseStandard, fuseFor, protectingA } from '../sums/fuse.ts';
import { awgSectionMm2, awgWithSection, iecSectionMm2, sectionForDropMm2 } from '../sums/wire.ts';
import { WIRE_COLOURS } from '../sums/wire-colours.ts';

/**
 * What is missing in the wiring of a prop, proposed: plugs, terminal blocks, fuses, wires with their colours
 * and sizes, the common ground. It only adds: what the file has stays as it is. Pure.
 */

export interface WiringWishes {
  /** Cable from the board to a channel, where nothing else is said (m). */
  lengthM: number;
  /** The same for single channels, by name. */
  lengthsM?: Readonly<Record<string, number>>;
  /** Channels and contacts that get nothing, by name: their wires are drawn by hand, or later. */
  leaveOut?: readonly string[];
}

/** What an addition is for. */
export interface WiringOwner {
  kind: 'board' | 'rail' | 'channel' | 'contact';
  name: string;
}

export interface WiringProposal {
  /** Additions alone, for the text of the file. */
  edits: Edit[];
  /** What is added, why, and what for. */
  added: { what: string; why: string; for: WiringOwner }[];
  /** What a person has to decide: a line each. */
  left: string[];
}

/** From supply to fuse, from fuse to block, from block to block (m). Common practice, no source. */
const TRUNK_M = 0.3;
/** The thinnest wire that is proposed: thinner breaks at the plug (common practice, no source). */
const THINNEST_AWG = 24;
/**
 * Shares of a rail's voltage that may be lost, of what check allows on the whole way: in the wires of a
 * channel, and in each of the three trunks before them (to the fuse, from it, and back).
 */
const OWN_DROP = 0.5 * DROP_SHARE;
const TRUNK_DROP = 0.12 * DROP_SHARE;
/** Free terminals that a new block keeps. */
const SPARE = 2;

type Trunk = Prop['wires'][number];
type Size = Pick<Wire, 'gaugeAwg' | 'sectionMm2'>;
type Connector = Prop['connectors'][string];

/** @param prop a sound prop, as `loadProp` gives it, with `written` the data as the file has it */
export function proposeWiring(prop: Prop, written: unknown, wishes: WiringWishes): WiringProposal {
  return new Wirer(prop, written as Record<string, unknown>, wishes).run();
}

/** One pole of a rail: where its channels are connected. */
interface Bus {
  pole: 'plus' | 'return';
  /** Of a return, the rails that share it. */
  rails: string[];
  /** Free terminals, on blocks that are there or are proposed. */
  free: string[];
}

class Wirer {
  readonly #prop: Prop;
  readonly #before: Prop;
  readonly #written: Record<string, unknown>;
  readonly #wishes: WiringWishes;
  readonly #edits: Edit[] = [];
  readonly #added: WiringProposal['added'] = [];
  readonly #left: string[] = [];
  readonly #names: Set<string>;
  readonly #held = new Set<string>();
  readonly #buses = new Map<string, Bus>();
  /** What a colour is for on a connector: `J1 RD` is plus. */
  readonly #meanings = new Map<string, string>();
  /** Rails with wires that do not show how their supply is to be joined. */
  readonly #unclear = new Set<string>();
  readonly #leaveOut: ReadonlySet<string>;
  /** What is worked on now. */
  #owner: WiringOwner = { kind: 'board', name: '' };
  #label: number;

  constructor(prop: Prop, written: Record<string, unknown>, wishes: WiringWishes) {
    this.#before = prop;
    this.#written = written;
    this.#wishes = wishes;
    this.#leaveOut = new Set(wishes.leaveOut);
    this.#prop = {
      ...prop,
      rails: Object.fromEntries(
        Object.entries(prop.rails).map(([name, rail]) => [name, { ...rail }]),
      ),
      channels: Object.fromEntries(
        Object.entries(prop.channels).map(([name, channel]) => [name, { ...channel }]),
      ),
      connectors: { ...prop.connectors },
      wires: [...prop.wires],
    };
    const loom = new Loom(prop);
    this.#names = new Set(loom.connectors.keys());
    for (const channel of Object.values(prop.channels)) {
      const relay = relayOf(channel);
      const terminals = relay && terminalsOf(relay);
      if (terminals) this.#names.add(splitEnd(terminals.common).connector);
    }
    for (const [connector, cavities] of loom.connectors)
      for (const [cavity, ends] of cavities)
        if (ends.length > 0) this.#held.add(`${connector}-${cavity}`);
    for (const { cores } of loom.wires) for (const core of cores) this.#note(core);
    const numbers = loom.wires.map(({ label }) => Number(/^W(\d+)$/.exec(label)?.[1] ?? 0));
    this.#label = Math.max(0, ...numbers);
  }

  run(): WiringProposal {
    this.#boards();
    this.#supplies();
    this.#fuses();
    this.#blocks();
    for (const [name, channel] of Object.entries(this.#before.channels)) {
      if (this.#leaveOut.has(name)) continue;
      this.#workOn('channel', name);
      this.#channel(name, channel);
    }
    this.#feeds();
    this.#inputs();
    this.#chips();
    this.#grounds();
    this.#collect();
    return { edits: this.#edits, added: this.#added, left: this.#left };
  }

  #workOn(kind: WiringOwner['kind'], name: string): void {
    this.#owner = { kind, name };
  }

  #add(what: string, why: string): void {
    this.#added.push({ what, why, for: this.#owner });
  }

  /** What was added under `connectors` and `wires`, as edits. */
  #collect(): void {
    const { connectors, wires } = this.#prop;
    const news = Object.entries(connectors).filter(
      ([name]) => !Object.hasOwn(this.#before.connectors, name),
    );
    const isThere = (key: string) =>
      this.#written[key] !== undefined && this.#written[key] !== null;
    if (news.length > 0 && !isThere('connectors'))
      this.#edits.push({ path: ['connectors'], value: Object.fromEntries(news) });
    else for (const [name, value] of news) this.#edits.push({ path: ['connectors', name], value });
    const more = wires.slice(this.#before.wires.length);
    if (more.length > 0 && !isThere('wires')) this.#edits.push({ path: ['wires'], value: more });
    else
      for (const [i, value] of more.entries())
        this.#edits.push({ path: ['wires', this.#before.wires.length + i], value });
  }

  // --- names and places -----------------------------------------------------------------------------

  #name(prefix: string): string {
    for (let i = 1; ; i++) {
      const name = `${prefix}${i}`;
      if (this.#names.has(name)) continue;
      this.#names.add(name);
      return name;
    }
  }

  #nextLabel(): string {
    this.#label++;
    return `W${String(this.#label).padStart(2, '0')}`;
  }

  /** Declares a connector, unless the file has it. */
  #connector(name: string, { name: words, ...rest }: Connector, why: string): void {
    if (Object.hasOwn(this.#prop.connectors, name)) return;
    // A channel's name may be as long as the words of a connector.
    const spec: Connector = { ...(words !== undefined && { name: words.slice(0, 64) }), ...rest };
    this.#prop.connectors[name] = spec;
    const cavities = spec.cavities === undefined ? '' : `, ${spec.cavities} cavities`;
    this.#add(`${name}: ${spec.name ?? 'connector'}${cavities}`, why);
  }

  #use(end: string): string {
    this.#held.add(end);
    return end;
  }

  #note(core: Core): void {
    for (const end of [core.from, core.to])
      this.#meanings.set(`${splitEnd(end).connector} ${core.colour}`, coreKind(core));
  }

  /** The same cores, where one colour would have two meanings on a connector in another. */
  #coloured(cores: readonly Core[]): Core[] {
    const suits = (core: Core, colour: string) =>
      [core.from, core.to].every((end) => {
        const meaning = this.#meanings.get(`${splitEnd(end).connector} ${colour}`);
        return meaning === undefined || meaning === coreKind(core);
      });
    const mine = new Set(cores.map(({ colour }) => colour));
    return cores.map((core) => {
      const colour = suits(core, core.colour)
        ? core.colour
        : Object.keys(WIRE_COLOURS).find((one) => !mine.has(one) && suits(core, one));
      const own = { ...core, colour: colour ?? core.colour };
      this.#note(own);
      return own;
    });
  }

  #wire(given: Trunk, why: string): void {
    const wire = { ...given, cores: this.#coloured(given.cores) };
    this.#prop.wires.push(wire);
    this.#add(wireWords(wire), why);
  }

  /** Everything but the fuses, so that both sides of one are told apart. */
  #loom(): Loom {
    const rails = Object.fromEntries(
      Object.entries(this.#prop.rails).map(([name, { fuse: _, ...rail }]) => [name, rail]),
    );
    return new Loom({ ...this.#prop, rails });
  }

  // --- boards ---------------------------------------------------------------------------------------

  #boards(): void {
    const known = new Set(boardConnectors(this.#prop).values());
    for (const [name, board] of Object.entries(this.#prop.boards)) {
      if (known.has(name)) continue;
      const { header, pins } = factsOf(board);
      // A sound card has channels, and nothing on it to wire.
      if (pins === 0) continue;
      const used = Object.values(this.#prop.channels).some(({ output }) => output.board === name);
      if (!used && !header) continue;
      this.#workOn('board', name);
      const words = header ? `the GPIO header of ${name}` : `outputs of ${name}`;
      this.#connector(
        this.#name(header ? 'J' : 'U'),
        { name: words, board: name, ...(header && { cavities: 40 }) },
        'its cavities are the pins of the board',
      );
    }
  }

  #boardConnector(board: string): string | undefined {
    return [...boardConnectors(this.#prop)].find(([, name]) => name === board)?.[0];
  }

  #pin(board: string, pin: number): string | undefined {
    const connector = this.#boardConnector(board);
    const cavity = factsOf(this.#prop.boards[board]!).cavityOf(pin);
    return connector === undefined || cavity === undefined ? undefined : `${connector}-${cavity}`;
  }

  /** A free pin of the header that is power or ground; undefined where all have a wire. */
  #power(board: string, kind: Power): string | undefined {
    const connector = this.#boardConnector(board);
    const cavities = factsOf(this.#prop.boards[board]!).power?.[kind] ?? [];
    // Ground from the far end on: the near ones are where other things are plugged in.
    const order = kind === 'ground' ? cavities.toReversed() : cavities;
    const cavity = order.find((one) => !this.#held.has(`${connector}-${one}`));
    return connector === undefined || cavity === undefined ? undefined : `${connector}-${cavity}`;
  }

  // --- supplies and fuses ---------------------------------------------------------------------------

  /** Rails that something draws from. */
  get #usedRails(): string[] {
    const used = new Set(
      Object.entries(this.#prop.channels).flatMap(([name, channel]) =>
        this.#leaveOut.has(name) && !channel.wire ? [] : [channel.rail, loadRailOf(channel)],
      ),
    );
    return Object.keys(this.#prop.rails).filter(
      (name) => used.has(name) && !this.#unclear.has(name),
    );
  }

  #supplies(): void {
    for (const name of this.#usedRails) {
      this.#workOn('rail', name);
      const rail = this.#prop.rails[name]!;
      if (!rail.supply && this.#hasWires(name)) {
        this.#unclear.add(name);
        this.#left.push(
          `rail ${name} has wires and no supply: write supply: { plus, return } there, and in connectors which cavities are joined`,
        );
        continue;
      }
      if (!rail.supply) {
        const connector = this.#name('PS');
        rail.supply = { plus: `${connector}-1`, return: `${connector}-2` };
        this.#edits.push({ path: ['rails', name, 'supply'], value: rail.supply });
        this.#add(`rails.${name}.supply: ${connector}`, 'the terminals where its wires start');
      }
      const { connector } = splitEnd(rail.supply.plus);
      const own = splitEnd(rail.supply.return).connector === connector;
      this.#connector(
        connector,
        {
          name: `${rail.battery ? 'battery' : 'supply'} of ${rail.volts} V`,
          ...(own && { cavities: 2 }),
        },
        `feeds ${name}`,
      );
    }
  }

  /** Whether the file has wires that carry a rail. */
  #hasWires(name: string): boolean {
    const { channels, wires } = this.#before;
    return (
      wires.some(({ rail }) => rail === name) ||
      Object.values(channels).some(({ rail, wire }) => rail === name && wire !== undefined)
    );
  }

  #fuses(): void {
    const budget = wiringBudgetOf(this.#prop);
    for (const name of this.#usedRails) {
      this.#workOn('rail', name);
      const rail = this.#prop.rails[name]!;
      if (!rail.fuse && this.#hasWires(name)) {
        this.#left.push(
          `rail ${name} has wires and no fuse: fit one between its supply and the first block, and write fuse: { ratingA, from, to }`,
        );
        continue;
      }
      if (!rail.fuse) {
        const { movingA, momentA, peakA } = budget.rails.find((one) => one.name === name)!;
        const standard: FuseStandard = 'ISO 8820';
        const window = { loadA: peakA, momentA, wireA: Number.POSITIVE_INFINITY };
        const ratingA = fuseFor({ ...window, ambientC: this.#prop.ambientC }, standard);
        if (ratingA === undefined) {
          this.#left.push(
            `rail ${name} carries ${tidy(Math.max(movingA, momentA))} A: no blade fuse is large enough; divide it into several rails`,
          );
          continue;
        }
        const connector = this.#name('F');
        rail.fuse = { ratingA, standard, from: `${connector}-1`, to: `${connector}-2` };
        const { standard: _, ...value } = rail.fuse;
        this.#edits.push({ path: ['rails', name, 'fuse'], value });
        this.#add(
          `rails.${name}.fuse: ${ratingA} A in ${connector}`,
          `carries ${tidy(peakA)} A all the time and ${tidy(momentA)} A for a moment; all wires behind it are proposed for it`,
        );
      }
    }
    const holders = new Map<string, { rail: string; cavities: string[] }>();
    for (const rail of this.#usedRails) {
      const { fuse } = this.#prop.rails[rail]!;
      if (!fuse) continue;
      for (const end of [fuse.from, fuse.to]) {
        const { connector, cavity } = splitEnd(end);
        const holder = holders.get(connector) ?? { rail, cavities: [] };
        holders.set(connector, holder);
        holder.cavities.push(cavity);
      }
    }
    for (const [connector, { rail, cavities }] of holders) {
      this.#workOn('rail', rail);
      const most = Math.max(...cavities.map(Number));
      this.#connector(
        connector,
        { name: 'fuse holder for blades', ...(Number.isInteger(most) && { cavities: most }) },
        'close to the supply, so that every wire behind it is protected',
      );
    }
  }

  // --- sizes ----------------------------------------------------------------------------------------

  /** What a wire must carry so that the fuse of a rail protects it; the rail's limit without a fuse (A). */
  #protectedA(rail: string): number {
    const { fuse, limitA } = this.#prop.rails[rail]!;
    return fuse ? fuse.ratingA / protectingA(1, fuse.standard) : limitA;
  }

  /** The thinnest even gauge that carries so much, and keeps within the drop. */
  #size(amps: number, drop?: { amps: number; lengthM: number; volts: number }): Size {
    const dropMm2 = drop && drop.amps > 0 ? sectionForDropMm2(drop, drop.volts) : 0;
    const rated = (mm2: number) => wireRatingA(this.#prop, mm2) >= amps;
    for (let gauge = THINNEST_AWG; gauge >= 0; gauge -= 2) {
      const mm2 = awgSectionMm2(gauge);
      if (mm2 >= dropMm2 && rated(mm2)) return { gaugeAwg: gauge };
    }
    let mm2: number | undefined = iecSectionMm2(Math.max(dropMm2, awgSectionMm2(0)));
    while (mm2 !== undefined && !rated(mm2)) mm2 = iecSectionMm2(mm2 * 1.001);
    if (mm2 !== undefined && awgWithSection(mm2) === undefined) return { sectionMm2: mm2 };
    this.#left.push(`no wire carries ${tidy(amps)} A: divide the rail into several`);
    return { gaugeAwg: 0 };
  }

  #lengthM(channel: string): number {
    const { lengthsM = {}, lengthM } = this.#wishes;
    return Object.hasOwn(lengthsM, channel) ? lengthsM[channel]! : lengthM;
  }

  /**
   * The size of a channel's wire: for the fuse of its rail, and for its drop.
   * @param cores as many as the current passes one after the other, in all wires of the channel
   * @param amps what flows in them
   */
  #ownSize(
    name: string,
    rail: string | undefined,
    cores = 2,
    amps = kindOf(this.#prop.channels[name]!).draw(this.#prop.channels[name]!).busyA,
  ): Size {
    if (rail === undefined || !Object.hasOwn(this.#prop.rails, rail)) return this.#size(0);
    const { volts } = this.#prop.rails[rail]!;
    // The sum of the drop counts there and back: two cores.
    const lengthM = (this.#lengthM(name) * cores) / 2;
    return this.#size(this.#protectedA(rail), { amps, lengthM, volts: OWN_DROP * volts });
  }

  // --- terminal blocks ------------------------------------------------------------------------------

  #busKey(rail: string, pole: 'plus' | 'return'): string {
    return pole === 'plus' ? `plus ${rail}` : `return ${this.#prop.rails[rail]!.supply!.return}`;
  }

  /** How many terminals each pole needs, and the blocks that have, or get, them. */
  #blocks(): void {
    const wanted = new Map<string, number>();
    for (const [name, channel] of Object.entries(this.#before.channels))
      for (const [rail, pole] of this.#leaveOut.has(name) ? [] : this.#taps(name, channel)) {
        const key = this.#busKey(rail, pole);
        wanted.set(key, (wanted.get(key) ?? 0) + 1);
      }
    for (const rail of this.#usedRails)
      for (const pole of ['plus', 'return'] as const) {
        const key = this.#busKey(rail, pole);
        const bus = this.#buses.get(key) ?? { pole, rails: [], free: [] };
        bus.rails.push(rail);
        this.#buses.set(key, bus);
      }
    const loom = this.#loom();
    for (const [key, bus] of this.#buses) {
      bus.free = this.#freeOn(loom, bus);
      const count = wanted.get(key) ?? 0;
      // One is kept for the wire that feeds a further block, or joins the grounds.
      if (count === 0 || bus.free.length > count) continue;
      this.#workOn('rail', bus.rails[0]!);
      this.#newBlock(loom, bus, count);
    }
  }

  /** The end that all of a bus must be joined to. */
  #root({ pole, rails }: Bus): string {
    const { supply, fuse } = this.#prop.rails[rails[0]!]!;
    return pole === 'return' ? supply!.return : (fuse?.to ?? supply!.plus);
  }

  /** Free terminals of bridged blocks that are on a bus already. */
  #freeOn(loom: Loom, bus: Bus): string[] {
    const net = loom.net(this.#root(bus));
    return Object.entries(this.#prop.connectors).flatMap(([name, { bridged = [] }]) =>
      bridged
        .filter((bar) => bar.some((cavity) => loom.net(`${name}-${cavity}`) === net))
        .flatMap((bar) => bar.map((cavity) => `${name}-${cavity}`))
        .filter((end) => !this.#held.has(end)),
    );
  }

  #newBlock(loom: Loom, bus: Bus, count: number): void {
    const root = this.#root(bus);
    // Where there are blocks already, the new one hangs on a terminal that is left of them.
    const from = bus.free[0] ?? (this.#held.has(root) ? undefined : root);
    if (from === undefined) {
      this.#left.push(
        `${bus.pole} of ${bus.rails.join(', ')}: no free terminal is left on ${root}; add a block there by hand`,
      );
      return;
    }
    const name = this.#name('TB');
    const { rails, pole } = bus;
    const size = count + SPARE + (pole === 'return' ? this.#supplyCount() : 0);
    const cavities = Array.from({ length: size }, (_, i) => i + 1);
    const { volts } = this.#prop.rails[rails[0]!]!;
    this.#connector(
      name,
      {
        name:
          pole === 'plus'
            ? `plus of ${rails[0]}, ${volts} V`
            : `return of ${rails[0]}${rails.length > 1 ? ` and ${rails.length - 1} more` : ''}`,
        cavities: size,
        bridged: [cavities],
      },
      `${count === 1 ? 'one wire starts' : `${count} wires start`} here, one to a terminal`,
    );
    bus.free = cavities.map((cavity) => `${name}-${cavity}`);
    const to = bus.free.shift()!;
    if (loom.net(from) === loom.net(to)) return;
    this.#trunk(bus, this.#use(from), this.#use(to), `feeds ${name}`);
  }

  #supplyCount(): number {
    return new Set(this.#usedRails.map((name) => this.#prop.rails[name]!.supply!.return)).size;
  }

  /** A single core that carries all of these rails. */
  #trunk(
    { rails, pole }: Pick<Bus, 'rails' | 'pole'>,
    from: string,
    to: string,
    why: string,
  ): void {
    const amps = rails.reduce((sum, rail) => sum + this.#protectedA(rail), 0);
    const busyA = rails.reduce((sum, rail) => {
      const { fuse, limitA } = this.#prop.rails[rail]!;
      return sum + Math.min(limitA, fuse?.ratingA ?? limitA);
    }, 0);
    const volts = Math.min(...rails.map((rail) => this.#prop.rails[rail]!.volts));
    // The sum of the drop counts there and back, and this is one way.
    const drop = { amps: busyA, lengthM: TRUNK_M / 2, volts: TRUNK_DROP * volts };
    const size = this.#size(amps, drop);
    this.#wire(
      {
        label: this.#nextLabel(),
        rail: rails[0]!,
        ...size,
        lengthM: TRUNK_M,
        cores: [{ role: pole, colour: pole === 'plus' ? 'RD' : 'BK', from, to }],
      },
      `${why}; thick enough for ${tidy(amps)} A`,
    );
  }

  /** A terminal of a bus; undefined, and said, where there is none. */
  #terminal(rail: string | undefined, pole: 'plus' | 'return'): string | undefined {
    const end =
      rail === undefined ? undefined : this.#buses.get(this.#busKey(rail, pole))?.free.shift();
    return end === undefined ? undefined : this.#use(end);
  }

  // --- channels -------------------------------------------------------------------------------------

  #hasLoadWires(name: string): boolean {
    return this.#before.wires.some(({ channel }) => channel === name);
  }

  /** The rails and poles that the wires of a channel, as far as they are missing, start from. */
  #taps(name: string, channel: Channel): (readonly [rail: string, pole: 'plus' | 'return'])[] {
    const { rail } = channel;
    const taps: (readonly [string, 'plus' | 'return'])[] = [];
    const add = (of: string | undefined, ...poles: ('plus' | 'return')[]) => {
      if (of !== undefined && this.#usedRails.includes(of))
        for (const pole of poles) taps.push([of, pole]);
    };
    const relay = relayOf(channel);
    const light = lightOf(channel);
    if (!channel.wire && !relay?.coil) {
      if (servoOf(channel) || relay) add(rail, 'plus', 'return');
      if (light) {
        const through = throughOf(light);
        if (through === 'driver board') add(rail, 'plus', 'return');
        else if (isLowSide(through)) add(rail, 'return');
        else if (activeLow(light)) add(rail, 'plus');
      }
    }
    if (!this.#hasLoadWires(name)) {
      if (relay && this.#isLoaded(relay)) add(loadRailOf(relay), 'plus', 'return');
      if (light && isLowSide(throughOf(light))) add(rail, 'plus');
    }
    return taps;
  }

  #isLoaded(relay: RelayChannel): boolean {
    return !relay.coil && (relay.draw?.onA ?? 0) > 0 && loadRailOf(relay) !== undefined;
  }

  #channel(name: string, channel: Channel): void {
    const relay = relayOf(channel);
    const light = lightOf(channel);
    if (relay) this.#relay(name, relay);
    else if (light) this.#light(name, light);
    else if (servoOf(channel)) this.#servo(name, channel);
  }

  /** The channel's own wire; false, and said, where one of its ends has no place. */
  #own(
    name: string,
    rail: string | undefined,
    cores: (Partial<Core> & { role: string })[],
    size?: Size,
  ): boolean {
    const lacking = cores.filter(({ from, to }) => from === undefined || to === undefined);
    if (lacking.length > 0) {
      this.#left.push(
        `${name} gets no wire: nothing is there for its ${lacking.map(({ role }) => role).join(' and ')}; ${rail === undefined ? 'name its rail' : 'make room on a terminal block'}`,
      );
      return false;
    }
    for (const { from, to } of cores) {
      this.#use(from!);
      this.#use(to!);
    }
    const wire: Wire = {
      label: this.#nextLabel(),
      ...(size ?? this.#ownSize(name, rail)),
      lengthM: this.#lengthM(name),
      cores: this.#coloured(cores as Core[]),
    };
    this.#prop.channels[name]!.wire = wire;
    this.#edits.push({ path: ['channels', name, 'wire'], value: wire });
    const fuse = rail === undefined ? undefined : this.#prop.rails[rail]!.fuse;
    const why = [
      rail === undefined ? 'from its pin' : `from its pin and rail ${rail}`,
      ...(fuse ? [`the fuse of ${fuse.ratingA} A protects it`] : []),
      ...(rail === undefined ? [] : [`it loses ${tidy(100 * OWN_DROP, 1)} % at most`]),
    ].join('; ');
    this.#add(`${wireWords(wire)} (${name})`, why);
    return true;
  }

  #servo(name: string, { output, rail, wire }: Channel): void {
    if (wire) return;
    const plug = this.#name('SV');
    const { pin } = output as { pin: number };
    const done = this.#own(name, rail, [
      { role: 'signal', colour: 'YE', from: this.#pin(output.board, pin), to: `${plug}-1` },
      { role: 'plus', colour: 'RD', from: this.#terminal(rail, 'plus'), to: `${plug}-2` },
      { role: 'return', colour: 'BK', from: this.#terminal(rail, 'return'), to: `${plug}-3` },
    ]);
    if (done)
      this.#connector(
        plug,
        { name, cavities: 3 },
        'signal, plus, return: look at the plug of yours',
      );
  }

  /** The signals of a light, each in its own colour. */
  #signals(channel: LightChannel, to: (i: number) => string): (Partial<Core> & { role: string })[] {
    return kindOf(channel)
      .outputs(channel)
      .map(({ pin, colour }, i) => ({
        role: colour ?? 'signal',
        colour: colour ? { red: 'RD', green: 'GN', blue: 'BU' }[colour] : 'OG',
        from: this.#pin(channel.output.board, pin),
        to: to(i),
      }));
  }

  #light(name: string, channel: LightChannel): void {
    const through = throughOf(channel);
    const outputs = kindOf(channel).outputs(channel).length;
    // With red as a colour of the light, its plus is white.
    const plusColour = outputs > 1 ? 'WH' : 'RD';
    if (isLowSide(through)) {
      this.#lowSide(name, channel, outputs, plusColour);
      return;
    }
    if (channel.wire) return;
    const { rail, output } = channel;
    const driver = through === 'driver board';
    const plug = this.#name(driver ? 'H' : 'D');
    const signals = this.#signals(channel, (i) => `${plug}-${i + 1}`);
    const plus = () => ({
      ...{ role: 'plus', colour: plusColour },
      ...{ from: this.#terminal(rail, 'plus'), to: `${plug}-${outputs + 1}` },
    });
    const back = (from: string | undefined, cavity: number) => ({
      ...{ role: 'return', colour: 'BK', from, to: `${plug}-${cavity}` },
    });
    let done: boolean;
    if (driver)
      done = this.#own(name, rail, [
        ...signals,
        plus(),
        back(this.#terminal(rail, 'return'), outputs + 2),
      ]);
    else if (activeLow(channel)) done = this.#own(name, rail, [...signals, plus()]);
    else {
      const ground = this.#power(output.board, 'ground');
      done = this.#own(name, undefined, [...signals, back(ground, outputs + 1)]);
    }
    if (!done) return;
    const cavities = outputs + (driver ? 2 : 1);
    if (driver)
      this.#connector(plug, { name: `${name} with its driver`, cavities }, 'signals, plus, return');
    else this.#connector(plug, { name, cavities }, 'the light, with its resistors');
  }

  /** A light behind transistors: its own wire to them, and one from them to the light. */
  #lowSide(name: string, channel: LightChannel, outputs: number, plusColour: string): void {
    const { rail, wire } = channel;
    // Plus to the light, from there to the MOSFETs, and from them back.
    const size = () => this.#ownSize(name, rail, 3);
    let plug = wire && splitEnd(wire.cores[0]!.to).connector;
    if (plug === undefined) {
      plug = this.#name('Q');
      this.#connector(
        plug,
        { name: `MOSFET board of ${name}`, cavities: 2 * outputs + 1 },
        'inputs, return, and what they switch to ground',
      );
      const cores = [
        ...this.#signals(channel, (i) => `${plug}-${i + 1}`),
        {
          ...{ role: 'return', colour: 'BK' },
          ...{ from: this.#terminal(rail, 'return'), to: `${plug}-${outputs + 1}` },
        },
      ];
      this.#own(name, rail, cores, size());
    }
    const legs = Array.from({ length: outputs }, (_, i) => `${plug}-${outputs + 2 + i}`);
    if (this.#hasLoadWires(name)) return;
    const from = this.#terminal(rail, 'plus');
    if (from === undefined || legs.some((end) => this.#held.has(end))) {
      this.#left.push(`${name}: the wires of the light itself; nothing is there for its plus`);
      return;
    }
    const light = this.#name('D');
    this.#connector(light, { name, cavities: outputs + 1 }, 'the light, with its resistors');
    const colours = this.#signals(channel, (i) => `${light}-${i + 1}`);
    this.#wire(
      {
        label: this.#nextLabel(),
        channel: name,
        rail: rail!,
        ...size(),
        lengthM: this.#lengthM(name),
        cores: [
          { role: 'plus', colour: plusColour, from, to: `${light}-${outputs + 1}` },
          ...colours.map(({ role, colour, to }, i) => ({
            ...{ role, colour: colour!, from: legs[i]!, to: to! },
          })),
        ],
      },
      `what the MOSFETs of ${name} switch to ground`,
    );
  }

  #relay(name: string, relay: RelayChannel): void {
    if (relay.coil) {
      if (!relay.wire)
        this.#left.push(`${name} has a bare coil: draw its transistor and diode by hand`);
      return;
    }
    const terminals = terminalsOf(relay);
    const named = terminals ?? this.#printed(name, relay);
    const module = named ? splitEnd(named.common).connector : this.#name('K');
    const { common, open, closed } = named ?? {
      common: `${module}-COM`,
      open: `${module}-NO`,
      closed: undefined,
    };
    this.#connector(
      module,
      { name: `relay of ${name}` },
      'its terminals have the names that are printed on most modules',
    );
    if (!relay.wire) this.#module(name, relay, module);
    if (this.#hasLoadWires(name) || !this.#isLoaded(relay)) return;
    const rail = loadRailOf(relay)!;
    const [plus, back] = [this.#terminal(rail, 'plus'), this.#terminal(rail, 'return')];
    if (plus === undefined || back === undefined) {
      this.#left.push(
        `${name}: the wires of what it switches; make room on a terminal block of ${rail}`,
      );
      return;
    }
    const load = this.#name('M');
    this.#connector(load, { name, cavities: 2 }, 'what the relay switches: plus, return');
    // Plus to the contact, from there to the load, and back.
    const own = { channel: name, rail, ...this.#ownSize(name, rail, 3) };
    this.#wire(
      {
        label: this.#nextLabel(),
        ...own,
        lengthM: this.#lengthM(name),
        cores: [{ role: 'plus', colour: 'RD', from: plus, to: common }],
      },
      `feeds the contact of ${name}`,
    );
    this.#wire(
      {
        label: this.#nextLabel(),
        ...own,
        lengthM: this.#lengthM(name),
        cores: [
          { role: 'plus', colour: 'RD', from: (open ?? closed)!, to: `${load}-1` },
          { role: 'return', colour: 'BK', from: back, to: `${load}-2` },
        ],
      },
      open === undefined
        ? `from the closed contact (NC): ${name} has power while its coil has none`
        : `from the open contact (NO): ${name} has no power while its coil has none`,
    );
  }

  /** The terminals that wires of the file end in, by the names that are printed on most modules. */
  #printed(name: string, relay: RelayChannel) {
    const connector = relay.wire && splitEnd(relay.wire.cores[0]!.to).connector;
    if (connector === undefined) return undefined;
    return { common: `${connector}-COM`, open: `${connector}-NO`, closed: undefined, name };
  }

  #module(name: string, relay: RelayChannel, module: string): void {
    const { rail, output } = relay;
    const control = {
      ...{ role: 'control', colour: 'GY' },
      ...{ from: this.#pin(output.board, output.pin), to: `${module}-IN` },
    };
    if (rail !== undefined) {
      const cores = [
        control,
        { role: 'plus', colour: 'RD', from: this.#terminal(rail, 'plus'), to: `${module}-V` },
        { role: 'return', colour: 'BK', from: this.#terminal(rail, 'return'), to: `${module}-G` },
      ];
      // The load has wires of its own.
      const size = this.#ownSize(name, rail, 2, coilLoadOf(relay)?.amps ?? 0);
      this.#own(name, rail, cores, size);
      return;
    }
    const ground = this.#power(output.board, 'ground');
    this.#own(name, undefined, [
      control,
      { role: 'return', colour: 'BK', from: ground, to: `${module}-G` },
    ]);
    this.#left.push(`${name}: the plus of its module; name its rail`);
  }

  // --- feeds and grounds ----------------------------------------------------------------------------

  /** From the terminals of each supply to its fuses; blocks have their feed already. */
  #feeds(): void {
    for (const name of this.#usedRails) {
      this.#workOn('rail', name);
      const { supply, fuse } = this.#prop.rails[name]!;
      const loom = this.#loom();
      if (!fuse || loom.net(supply!.plus) === loom.net(fuse.from)) continue;
      // All rails whose fuses share this input come through the wire.
      const rails = this.#usedRails.filter(
        (one) =>
          this.#prop.rails[one]!.fuse?.from === fuse.from &&
          this.#prop.rails[one]!.supply!.plus === supply!.plus,
      );
      const taken = [supply!.plus, fuse.from].find((end) => this.#held.has(end));
      if (taken !== undefined) {
        this.#left.push(
          `${name}: from ${supply!.plus} to its fuse ${fuse.from}; ${taken} has a wire already`,
        );
        continue;
      }
      this.#trunk(
        { rails, pole: 'plus' },
        this.#use(supply!.plus),
        this.#use(fuse.from),
        'from the supply to the fuse; nothing protects it, so keep it short',
      );
    }
  }

  #headerBoard(): string | undefined {
    return Object.keys(this.#prop.boards).find((name) => factsOf(this.#prop.boards[name]!).header);
  }

  /** Returns against which signals are measured are joined to the ground of the header, once each. */
  #grounds(): void {
    const header = this.#headerBoard();
    const power = header === undefined ? undefined : factsOf(this.#prop.boards[header]!).power;
    const connector = header === undefined ? undefined : this.#boardConnector(header);
    if (!power || connector === undefined) return;
    const ground = `${connector}-${power.ground[0]}`;
    for (const name of this.#usedRails) {
      this.#workOn('rail', name);
      const signals = Object.values(this.#prop.channels).some(({ rail }) => rail === name);
      const { supply } = this.#prop.rails[name]!;
      const loom = this.#loom();
      if (!signals || loom.net(supply!.return) === loom.net(ground)) continue;
      const bus = this.#buses.get(this.#busKey(name, 'return'))!;
      const from = this.#power(header!, 'ground') ?? this.#joined(loom, ground);
      const to = bus.free.shift() ?? (this.#held.has(supply!.return) ? undefined : supply!.return);
      if (from === undefined || to === undefined) {
        this.#left.push(
          `the return of ${name} must be joined to the ground of ${header}: no free terminal is left for it`,
        );
        continue;
      }
      this.#wire(
        {
          label: this.#nextLabel(),
          rail: name,
          ...this.#size(this.#protectedA(name)),
          lengthM: TRUNK_M,
          cores: [{ role: 'return', colour: 'BK', from: this.#use(to), to: this.#use(from) }],
        },
        'common ground: signals are measured against it; once for each supply, not twice',
      );
    }
  }

  /** A free terminal that is joined to an end. */
  #joined(loom: Loom, end: string): string | undefined {
    const net = loom.net(end);
    for (const bus of this.#buses.values())
      if (bus.pole === 'return' && bus.free[0] !== undefined && loom.net(bus.free[0]) === net)
        return bus.free.shift();
    return undefined;
  }

  // --- inputs and chips -----------------------------------------------------------------------------

  /** Contacts that are read: the stop button, a key, guards, triggers, senses. */
  #inputs(): void {
    const { stopInput, lockoutInput, guards, triggers, senses } = this.#prop;
    const all = [
      ...(stopInput ? [{ name: 'stop button', ...stopInput }] : []),
      ...(lockoutInput ? [{ name: 'key switch', ...lockoutInput }] : []),
      ...Object.entries(guards).map(([name, guard]) => ({ ...guard, name: `guard ${name}` })),
      ...Object.entries(triggers).flatMap(([name, { input }]) =>
        input ? [{ ...input, name: `contact of ${name}` }] : [],
      ),
      ...Object.entries(senses).flatMap(([name, sense]) =>
        sense.kind === 'contact' ? [{ ...sense, name: `sense ${name}` }] : [],
      ),
    ];
    for (const { name, board, pin } of all) {
      if (this.#leaveOut.has(name)) continue;
      this.#workOn('contact', name);
      const from = Object.hasOwn(this.#prop.boards, board) ? this.#pin(board, pin) : undefined;
      if (from === undefined || this.#held.has(from)) continue;
      const ground = this.#power(board, 'ground');
      if (ground === undefined) {
        this.#left.push(`${name}: no free ground pin is left on ${board}`);
        continue;
      }
      const plug = this.#name('S');
      this.#connector(plug, { name, cavities: 2 }, 'a contact to ground');
      this.#wire(
        {
          label: this.#nextLabel(),
          ...this.#size(0),
          lengthM: this.#wishes.lengthM,
          cores: [
            { role: 'signal', colour: 'YE', from: this.#use(from), to: `${plug}-1` },
            { role: 'return', colour: 'BK', from: this.#use(ground), to: `${plug}-2` },
          ],
        },
        `${name}: between its pin and ground`,
      );
    }
  }

  /** The bus, the supply of the chip and its output-enable, from the header or from the board before. */
  #chips(): void {
    const header = this.#headerBoard();
    if (header === undefined) return;
    const facts = factsOf(this.#prop.boards[header]!);
    let before: string | undefined;
    for (const [name, board] of Object.entries(this.#prop.boards)) {
      const { uses, electrics, enable } = factsOf(board);
      const connector = this.#boardConnector(name);
      if (uses === undefined || connector === undefined) continue;
      this.#workOn('board', name);
      const pins = Array.from({ length: facts.pins }, (_, pin) => pin).filter(
        (pin) => facts.reservedFor(pin) === uses,
      );
      const logic: Power = electrics(board).highV > 4 ? '5 V' : '3.3 V';
      const free = (end: string | undefined) =>
        end === undefined || this.#held.has(end) ? undefined : end;
      const ends = (['SDA', 'SCL', 'VCC', 'GND'] as const).map((word, i) =>
        before === undefined
          ? i < 2
            ? free(this.#pin(header, pins[i]!))
            : this.#power(header, i === 2 ? logic : 'ground')
          : `${before}-${word}2`,
      );
      if (!this.#held.has(`${connector}-SDA`) && !this.#isWired(connector)) {
        if (ends.some((end) => end === undefined))
          this.#left.push(`${name}: its bus and supply; the pins of the header have wires already`);
        else
          this.#wire(
            {
              label: this.#nextLabel(),
              ...this.#size(0),
              lengthM: TRUNK_M,
              cores: (
                [
                  ['SDA', 'BU', 'SDA'],
                  ['SCL', 'YE', 'SCL'],
                  ['plus', 'RD', 'VCC'],
                  ['return', 'BK', 'GND'],
                ] as const
              ).map(([role, colour, cavity], i) => ({
                ...{
                  role,
                  colour,
                  from: this.#use(ends[i]!),
                  to: this.#use(`${connector}-${cavity}`),
                },
              })),
            },
            `the bus of ${name} and the ${logic} of its chip, which is not the supply of servos or lights`,
          );
      }
      before = connector;
      const cut = enable?.(board);
      const from =
        cut && Object.hasOwn(this.#prop.boards, cut.board)
          ? this.#pin(cut.board, cut.pin)
          : undefined;
      if (from === undefined || this.#held.has(from)) continue;
      this.#wire(
        {
          label: this.#nextLabel(),
          ...this.#size(0),
          lengthM: TRUNK_M,
          cores: [
            {
              role: 'enable',
              colour: 'WH',
              from: this.#use(from),
              to: this.#use(`${connector}-OE`),
            },
          ],
        },
        `cuts the outputs of ${name}; fit a pull-up resistor of 10 kohm`,
      );
    }
  }

  /** Whether the file has a wire to a chip's board that is not one of its outputs. */
  #isWired(connector: string): boolean {
    return [...this.#held].some((end) => {
      const { connector: one, cavity } = splitEnd(end);
      return one === connector && !/^\d+$/.test(cavity) && cavity !== 'OE';
    });
  }
}

/** `W07, 24 AWG, 0.6 m: signal J1-12 -> SV3-1, ...` */
function wireWords({ label, gaugeAwg, sectionMm2, lengthM, cores }: Wire): string {
  const size = gaugeAwg === undefined ? `${sectionMm2} mm2` : `${gaugeAwg} AWG`;
  const ends = cores.map(({ role, colour, from, to }) => `${role} ${colour} ${from} -> ${to}`);
  return `${label}, ${size}, ${lengthM} m: ${ends.join(', ')}`;
}
