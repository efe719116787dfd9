import { type FuseStandard, type FuseVerdict, fuseFor, fuseVerdict } from '../sums/fuse.ts';
import {
  type BaseResistor,
  baseResistor,
  type Coil,
  coilA,
  type Flyback,
  flybackDiode,
} from '../sums/relay-drive.ts';
import { type Led, ledResistor, type SeriesResistor } from '../sums/resistor.ts';
import { holdingA } from '../sums/servo-line.ts';
import { shuntV, shuntW } from '../sums/shunt.ts';
import {
  capacitorF,
  DIP_SHARE,
  inrushA,
  runTimeH,
  totals,
  WAKE,
  wantedSupplyA,
} from '../sums/supply.ts';
import { type ChannelVolts, dropsOf, type ProtectedWire, type WireLoad } from './drops.ts';
import { relayOf } from './kinds/channel.ts';
import { loadRailOf } from './kinds/contact.ts';
import { kindOf } from './kinds/registry.ts';
import { throughOf } from './kinds/through.ts';
import { type Shunt, shuntsOf } from './measuring-path.ts';
import { mechanicsOf } from './mechanics.ts';
import { driven, ledSupplyV } from './pin-load.ts';
import { coilDraw, type RailDraw } from './rail-draw.ts';
import { railOf } from './rails.ts';
import type { Channel, Prop, Rail } from './schema.ts';

/** The electrical figures that follow from a prop file alone, without any cue. */

/**
 * The largest voltage drop to a load, as a share of the rail's voltage: 5 % for feeder and branch
 * together (NFPA 70, 210.19, informational note; from memory).
 */
export const DROP_SHARE = 0.05;

export interface RailBudget {
  name: string;
  volts: number;
  limitA: number;
  /** All at rest; all moving or fully on; the same with every servo stalled (A). */
  idleA: number;
  movingA: number;
  stallA: number;
  /** All moving, but no more than the limit, which the daemon keeps (A). */
  peakA: number;
  /**
   * The servo whose stall draws most while all others rest: the rail's current then, and while the servo
   * moves freely (A).
   */
  hardest?: { channel: string; amps: number; movingA: number };
  /** Current while servos get their first pulses: all at once, and one by one as in a wake (A). */
  inrush: { togetherA: number; staggeredA: number };
  /** The momentary current: the hardest stall or the peak of a wake, whichever is larger (A). */
  momentA: number;
  /** The supply to use: the peak and a margin, but no less than the momentary current (A). */
  wantedA: number;
  /** The capacitor with which starts beyond the limit dip the rail by no more than a tenth (F). */
  capacitorF?: number;
  fuse?: FuseBudget;
  battery?: { idleH: number; movingH: number; wantedH?: number };
}

export interface FuseBudget {
  /** Undefined if the file has no fuse. */
  ratingA?: number;
  standard: FuseStandard;
  /** Its continuous and momentary current, and the capacity of the weakest wire behind it (A). */
  loadA: number;
  momentA: number;
  wire?: ProtectedWire;
  verdict?: FuseVerdict;
  /** The rating that would fit (A); null if none does, undefined if that is unknown. */
  fits?: number | null;
}

/** Currents (A) and voltages (V) of one channel. */
export interface ChannelBudget extends Partial<ChannelVolts> {
  name: string;
  rail: string;
  movingA: number;
  stallA: number;
  /** Current while it holds its worst load, if load and stall torque are known (A). */
  holdingA?: number;
  /** Voltage lost in its wires while it moves (V), and as a share of the rail's voltage. */
  dropV?: number;
  dropShare?: number;
}

/** The series resistor of one LED, or of one colour. */
export interface LedBudget {
  channel: string;
  colour?: 'red' | 'green' | 'blue';
  led: Led;
  givenOhm?: number;
  /** Undefined if the supply is too low for the LED. */
  wanted?: SeriesResistor;
}

/** The base resistor and flyback diode of one relay coil. */
export interface CoilBudget {
  channel: string;
  /** The coil, its transistor and the pin's voltage. */
  coil: Coil;
  coilA: number;
  givenOhm?: number;
  wanted?: BaseResistor;
  flyback: Flyback;
}

/** A shunt, with the most that it is asked for: while all moves as the limit allows, and for a moment. */
export interface ShuntBudget extends Shunt {
  /** What flows through it, what it takes from the voltage behind it (V), and what heats it (W). */
  movingA: number;
  dropV: number;
  watts: number;
  /** The same for a moment: a stall, or the start of a wake (A). */
  momentA: number;
  momentDropV: number;
}

export interface Budget {
  rails: RailBudget[];
  channels: ChannelBudget[];
  wires: WireLoad[];
  leds: LedBudget[];
  coils: CoilBudget[];
  /** Shunts of meters; absent where there are none. */
  shunts?: ShuntBudget[];
  /** Channels whose supply has terminals in the file, but whose wiring to it is not there. */
  untraced: string[];
  /** Wires that count as 0 ohm, because their length or size is not in the file. */
  unknownWires: string[];
}

/** The electrical budget of a prop: currents (A), voltages (V), running times (h). */
export function budgetOf(prop: Prop): Budget {
  const budget = wiringBudgetOf(prop);
  const mechanics = mechanicsOf(prop);
  for (const one of budget.channels) {
    const { worst, stallNm } = mechanics.get(one.name) ?? {};
    if (!worst || !stallNm) continue;
    const { idleA, stallA } = kindOf(prop.channels[one.name]!).draw(prop.channels[one.name]!);
    one.holdingA = holdingA({ idleA, stallA }, worst.torqueNm - worst.accelerationNm, stallNm);
  }
  return budget;
}

/** The same without figures that depend on a servo's mechanics: its current while it holds its load. */
export function wiringBudgetOf(prop: Prop): Budget {
  const drops = dropsOf(prop);
  const members = new Map<string, Member[]>();
  const channels: ChannelBudget[] = [];
  const join = (rail: string, member: Member) => {
    const known = members.get(rail);
    if (known) known.push(member);
    else members.set(rail, [member]);
  };
  for (const [name, channel] of Object.entries(prop.channels)) {
    const coil = coilDraw(channel);
    if (coil) join(coil.rail, { name, channel, draw: coil.draw });
    const rail = loadRailOf(channel);
    const spec = railOf(prop, rail);
    if (rail === undefined || !spec) continue;
    join(rail, { name, channel, draw: kindOf(channel).draw(channel) });
    const { busyA, stallA } = kindOf(channel).draw(channel);
    const volts = drops.channels.get(name);
    const one: ChannelBudget = { name, rail, movingA: busyA, stallA, ...volts };
    if (volts) {
      one.dropV = spec.volts - volts.movingV;
      one.dropShare = one.dropV / spec.volts;
    }
    channels.push(one);
  }
  const rails = Object.entries(prop.rails).map(([name, rail]) => {
    const budget = railBudget(name, rail, members.get(name) ?? []);
    const fuse = fuseBudget(rail, budget, drops.weakest.get(name), prop.ambientC);
    return fuse ? { ...budget, fuse } : budget;
  });
  const shunts = shuntsOf(prop).flatMap((shunt) => shuntBudget(shunt, rails, channels) ?? []);
  return {
    ...{ rails, channels },
    wires: drops.wires,
    leds: Object.entries(prop.channels).flatMap(([name, channel]) => leds(prop, name, channel)),
    coils: Object.entries(prop.channels).flatMap(([name, channel]) => coils(prop, name, channel)),
    ...(shunts.length > 0 && { shunts }),
    untraced: drops.untraced,
    unknownWires: drops.unknown,
  };
}

/** A load on a rail: a channel, or a channel's coil. */
interface Member {
  name: string;
  channel: Channel;
  draw: RailDraw;
}

function railBudget(
  name: string,
  { volts, limitA, battery }: Rail,
  members: readonly Member[],
): RailBudget {
  const loads = members.map(({ name: channel, channel: spec, draw }) => ({
    channel,
    spec,
    idleA: draw.idleA,
    movingA: draw.busyA,
    stallA: draw.stallA,
  }));
  const { idleA, movingA, stallA } = totals(loads);
  const servos = loads.filter(({ spec }) => kindOf(spec).moves);
  const othersA = totals(loads.filter(({ spec }) => !kindOf(spec).moves)).idleA;
  const peakA = Math.min(movingA, Math.max(limitA, idleA));
  const budget: RailBudget = {
    name,
    volts,
    limitA,
    idleA,
    movingA,
    stallA,
    peakA,
    inrush: {
      togetherA: othersA + inrushA(servos, { ...WAKE, everyS: 0 }),
      staggeredA: othersA + inrushA(servos, WAKE),
    },
    momentA: 0,
    wantedA: 0,
  };
  let most = 0;
  for (const load of servos) {
    const moreA = load.stallA - load.idleA;
    if (moreA <= most) continue;
    most = moreA;
    budget.hardest = {
      channel: load.channel,
      amps: idleA + moreA,
      movingA: idleA - load.idleA + load.movingA,
    };
  }
  budget.momentA = Math.max(budget.hardest?.amps ?? 0, budget.inrush.staggeredA);
  budget.wantedA = wantedSupplyA(peakA, budget.momentA);
  const beyondA = budget.momentA - limitA;
  if (beyondA > 0) budget.capacitorF = capacitorF(beyondA, WAKE.startS, DIP_SHARE * volts);
  if (battery) {
    const { wantedH } = battery;
    budget.battery = {
      idleH: runTimeH(battery, idleA),
      movingH: runTimeH(battery, peakA),
      ...(wantedH !== undefined && { wantedH }),
    };
  }
  return budget;
}

function fuseBudget(
  { fuse, supply }: Rail,
  { peakA: loadA, momentA }: RailBudget,
  weakest: ProtectedWire | undefined,
  ambientC: number,
): FuseBudget | undefined {
  if (!fuse && !supply) return undefined;
  const { ratingA, standard } = fuse ?? { standard: 'ISO 8820' as const };
  const budget: FuseBudget = { standard, loadA, momentA };
  if (ratingA !== undefined) budget.ratingA = ratingA;
  // Without a known wire, only the load of a fuse can be judged.
  const wireA = weakest
    ? Math.max(0, weakest.capacityA - (weakest.shared?.amps ?? 0))
    : Number.POSITIVE_INFINITY;
  const window = { loadA, momentA, wireA, ambientC };
  if (ratingA !== undefined) {
    const verdict = fuseVerdict(ratingA, window, standard);
    if (weakest || verdict !== 'fits') budget.verdict = verdict;
  }
  if (weakest) {
    budget.wire = weakest;
    budget.fits = fuseFor(window, standard) ?? null;
  }
  return budget;
}

/** Of a rail or a channel that is there. */
function shuntBudget(
  shunt: Shunt,
  rails: readonly RailBudget[],
  channels: readonly ChannelBudget[],
): ShuntBudget | undefined {
  const rail = rails.find(({ name }) => name === shunt.rail);
  const channel = channels.find(({ name }) => name === shunt.channel);
  const movingA = rail?.peakA ?? channel?.movingA;
  if (movingA === undefined) return undefined;
  const momentA = Math.max(movingA, rail?.momentA ?? channel!.stallA);
  return {
    ...shunt,
    ...{ movingA, dropV: shuntV(movingA, shunt.ohm), watts: shuntW(movingA, shunt.ohm) },
    ...{ momentA, momentDropV: shuntV(momentA, shunt.ohm) },
  };
}

function leds(prop: Prop, channel: string, spec: Channel): LedBudget[] {
  return (kindOf(spec).leds?.(spec) ?? []).flatMap((one) => {
    const { colour, forwardV, spreadV, currentA, resistorOhm } = one;
    const supplyV = ledSupplyV(prop, spec, one.supplyV);
    if (supplyV === undefined) return [];
    const led = { supplyV, forwardV, spreadV, currentA };
    const wanted = ledResistor(led);
    return {
      channel,
      led,
      ...(resistorOhm !== undefined && { givenOhm: resistorOhm }),
      ...(wanted && { wanted }),
      ...(colour && { colour }),
    };
  });
}

function coils(prop: Prop, channel: string, spec: Channel): CoilBudget[] {
  const relay = relayOf(spec);
  const coil = relay?.coil && driven(prop, relay, relay.coil);
  if (!coil || throughOf(relay) !== 'npn') return [];
  const wanted = baseResistor(coil);
  return [
    {
      channel,
      coil,
      coilA: coilA(coil),
      ...(coil.baseOhm !== undefined && { givenOhm: coil.baseOhm }),
      ...(wanted && { wanted }),
      flyback: flybackDiode(coil),
    },
  ];
}
