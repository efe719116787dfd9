import { factsOf } from '../boards/registry.ts';
import type { Path } from './finding.ts';
import { relayOf } from './kinds/channel.ts';
import { kindOf } from './kinds/registry.ts';
import { type Core, coreKind, type Loom, type PlacedWire } from './loom.ts';
import { grouped, splitEnd } from './loom-words.ts';
import type { Notes } from './notes.ts';
import type { Channel, Prop } from './schema.ts';

/** Reports short circuits, and what the supply does not reach. */
export function lintNets(notes: Notes, loom: Loom): void {
  // A loom with broken parts has gaps that are not mistakes.
  const whole = ['connectors', 'wires', 'rails'].every((section) => !notes.given.broken([section]));
  if (!whole || loom.wires.some(({ path }) => notes.given.broken(path))) return;
  lintShorts(notes, loom);
  lintFeeds(notes, loom);
  lintGrounds(notes, loom);
}

/** A point on one pole of a supply. */
interface Pole {
  end: string;
  kind: 'plus' | 'return';
  /** The rail whose plus it is, if that is certain. */
  rail?: string;
  path: Path;
  what: string;
}

function polesOf({ prop }: Notes, loom: Loom): Pole[] {
  const terminals = Object.entries(prop.rails).flatMap(([rail, { supply }]) =>
    (['plus', 'return'] as const).flatMap((kind): Pole[] => {
      if (!supply) return [];
      const end = supply[kind];
      const path = ['rails', rail, 'supply', kind];
      return [{ end, kind, rail, path, what: `the ${kind} of rail ${rail} (${end})` }];
    }),
  );
  const ends = loom.wires.flatMap((wire) =>
    wire.cores.flatMap((core, i) => {
      const kind = coreKind(core);
      if (kind === 'signal') return [];
      const rail = railOf(prop, wire);
      return (['from', 'to'] as const).map((side): Pole => {
        const end = core[side];
        const path = [...wire.path, 'cores', i, side];
        return {
          end,
          kind,
          ...(rail && { rail }),
          path,
          what: `${core.role} of ${wire.label} (${end})`,
        };
      });
    }),
  );
  return [...terminals, ...ends];
}

/**
 * The rail that a wire carries. A relay's module may be fed from another rail than its load, so its
 * channel's rail does not show it.
 */
function railOf({ channels }: Notes['prop'], wire: PlacedWire): string | undefined {
  if (wire.rail !== undefined) return wire.rail;
  const channel = wire.channel === undefined ? undefined : channels[wire.channel];
  return channel && kindOf(channel).switches ? undefined : channel?.rail;
}

function lintShorts(notes: Notes, loom: Loom): void {
  for (const [, poles] of grouped(polesOf(notes, loom), ({ end }) => loom.net(end))) {
    if (poles.every(({ kind }) => kind === poles[0]!.kind)) lintVolts(notes, poles);
    else reportShort(notes, loom, poles);
  }
}

function reportShort(notes: Notes, loom: Loom, poles: readonly Pole[]): void {
  // If both meet at one junction, that is the place to fix.
  const meeting = [...grouped(poles, ({ end }) => loom.junction(end)).values()].find(
    (some) => new Set(some.map(({ kind }) => kind)).size > 1,
  );
  const [first, other] = pairOf(meeting ?? poles, ({ kind }) => kind)!;
  const path = (meeting && bridgeOf(notes, first.end, other.end)) ?? other.path;
  notes.error(
    path,
    `short circuit: ${first.what} and ${other.what} are joined`,
    first.end === other.end
      ? 'give plus and return a cavity each'
      : 'separate plus and return: look at the ends, roles and bridges between them',
  );
}

/** The path in the file of the bridge between two cavities of a connector. */
function bridgeOf({ prop }: Notes, a: string, b: string): Path | undefined {
  const [one, other] = [splitEnd(a), splitEnd(b)];
  if (a === b || one.connector !== other.connector) return undefined;
  if (!Object.hasOwn(prop.connectors, one.connector)) return undefined;
  const at = prop.connectors[one.connector]!.bridged?.findIndex((bridge) => {
    const cavities = bridge.map(String);
    return cavities.includes(one.cavity) && cavities.includes(other.cavity);
  });
  if (at === undefined || at < 0) return undefined;
  return ['connectors', one.connector, 'bridged', at];
}

/** The first thing, and the first later one with another key. */
function pairOf<T>(things: readonly T[], key: (thing: T) => unknown): [T, T] | undefined {
  const other = things.find((thing) => key(thing) !== key(things[0]!));
  return other === undefined ? undefined : [things[0]!, other];
}

function lintVolts(notes: Notes, poles: readonly Pole[]): void {
  if (poles[0]!.kind !== 'plus') return;
  const { rails } = notes.prop;
  const fed = poles.filter(({ rail }) => rail !== undefined && Object.hasOwn(rails, rail));
  const pair = pairOf(fed, ({ rail }) => rails[rail!]!.volts);
  if (!pair) return;
  const [first, other] = pair;
  const volts = ({ rail }: Pole) => `${rails[rail!]!.volts} V (${rail})`;
  notes.error(
    other.path,
    `${first.what} has ${volts(first)} and is joined to ${other.what} of ${volts(other)}`,
    'keep rails of different voltage apart, or correct the rail',
  );
}

interface Unfed {
  core: Core;
  wire: PlacedWire;
  path: Path;
  rails: readonly string[];
}

/** Every plus and return that belongs to a supply must lead to it, and every plus through the fuse. */
function lintFeeds(notes: Notes, loom: Loom): void {
  const { rails, channels } = notes.prop;
  const supplied = Object.keys(rails).filter((name) => rails[name]!.supply);
  if (supplied.length === 0) return;
  const boardNets = new Set(
    [...loom.boards].flatMap(([name, board]) => {
      const { power } = factsOf(notes.prop.boards[board]!);
      const cavities = power ? [power['5 V'][0]!, power.ground[0]!] : [];
      return cavities.map((one) => loom.net(`${name}-${one}`));
    }),
  );
  const unfed: Unfed[] = [];
  const past = new Set<string>();
  for (const wire of loom.wires) {
    // A relay's load is behind an open contact.
    if (!wire.own && wire.channel !== undefined) continue;
    const channel = wire.channel === undefined ? undefined : channels[wire.channel];
    const anyRail = channel !== undefined && kindOf(channel).switches;
    const rail = wire.rail ?? channel?.rail;
    const wanted = anyRail ? supplied : supplied.filter((name) => name === rail);
    if (wanted.length === 0) continue;
    for (const [i, core] of wire.cores.entries()) {
      const kind = coreKind(core);
      if (kind === 'signal') continue;
      const path = [...wire.path, 'cores', i];
      const net = loom.net(core.from);
      const reached = wanted.some((name) => loom.net(rails[name]!.supply![kind]) === net);
      if (!reached && !(anyRail && boardNets.has(net)))
        unfed.push({ core, wire, path, rails: wanted });
      if (!reached || kind === 'return' || !wire.own || anyRail) continue;
      const { fuse } = rails[wanted[0]!]!;
      const route = fuse && loom.route(wanted[0]!, 'plus', core.from);
      if (!route || past.has(wanted[0]!)) continue;
      if (route.some((link) => link.kind === 'fuse' && link.rail === wanted[0])) continue;
      past.add(wanted[0]!);
      notes.warning(
        path,
        `the plus of ${wire.label} reaches the supply of ${wanted[0]} past its fuse`,
        `wire the supply to ${fuse!.from} and the loads to ${fuse!.to} alone`,
      );
    }
  }
  reportUnfed(notes, loom, unfed);
}

/** One finding for each disconnected piece, not one for each wire in it. */
function reportUnfed(notes: Notes, loom: Loom, unfed: readonly Unfed[]): void {
  const pieces = grouped(unfed, ({ core, rails }) =>
    [coreKind(core), loom.net(core.from), ...rails].join(' '),
  );
  for (const [, all] of pieces) {
    const { core, wire, path, rails } = all[0]!;
    const kind = coreKind(core) as 'plus' | 'return';
    const labels = [...new Set(all.map((one) => one.wire.label))];
    const more = labels.length > 1 ? ` (nor do ${labels.length - 1} more with it)` : '';
    const terminal = notes.prop.rails[rails[0]!]!.supply![kind];
    notes.warning(
      path,
      `the ${core.role} of ${wire.label} does not lead to the supply of ${rails.join(' or ')}${more}`,
      `add the wires, bridges and the fuse between ${core.from} and ${terminal}`,
    );
  }
}

/**
 * The rail whose return is the reference of a channel's signal. A relay's contact is potential-free: the
 * feed of its input counts, as wired, or else its rail if the contact has its own.
 */
function signalRail(
  { prop }: Notes,
  loom: Loom,
  name: string,
  channel: Channel,
): string | undefined {
  const relay = relayOf(channel);
  if (!relay) return channel.rail;
  const own = (loom.byChannel.get(name) ?? []).filter((wire) => wire.own);
  const ends = own.flatMap(({ cores }) =>
    cores.filter((core) => coreKind(core) === 'return').map(({ from }) => loom.net(from)),
  );
  const fed = Object.entries(prop.rails).find(
    ([, { supply }]) => supply && ends.includes(loom.net(supply.return)),
  );
  if (fed) return fed[0];
  // A return that leads to the board's ground, and to no supply in the file, is right.
  const ground = groundsOf(prop, loom, channel.output.board);
  if (ends.some((end) => ground.includes(end))) return undefined;
  return relay.rail;
}

/** The nets of a board's grounds. */
function groundsOf(prop: Prop, loom: Loom, board: string): string[] {
  const connector = [...loom.boards].find(([, one]) => one === board)?.[0];
  const cavities = Object.hasOwn(prop.boards, board)
    ? (factsOf(prop.boards[board]!).power?.ground ?? [])
    : [];
  return connector === undefined ? [] : cavities.map((one) => loom.net(`${connector}-${one}`));
}

/** A signal's reference is the receiver's return, so that must be joined to the board's ground. */
function lintGrounds(notes: Notes, loom: Loom): void {
  const reported = new Set<string>();
  for (const [name, channel] of Object.entries(notes.prop.channels)) {
    const { output } = channel;
    const rail = signalRail(notes, loom, name, channel);
    const supply = rail === undefined ? undefined : notes.prop.rails[rail]?.supply;
    const connector = [...loom.boards].find(([, board]) => board === output.board);
    const cavity = connector && factsOf(notes.prop.boards[connector[1]]!).power?.ground[0];
    if (!supply || cavity === undefined || reported.has(`${rail} ${output.board}`)) continue;
    reported.add(`${rail} ${output.board}`);
    const ground = `${connector![0]}-${cavity}`;
    if (loom.net(ground) === loom.net(supply.return)) continue;
    notes.warning(
      ['rails', rail!, 'supply', 'return'],
      `the return of ${rail} is not joined to the ground of ${output.board}, against which its signals are measured`,
      `add one wire from the return to a ground pin, such as ${ground}`,
    );
  }
}
