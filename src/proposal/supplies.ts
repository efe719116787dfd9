import { FUSE_RATINGS_A, fuseFor } from '../sums/fuse.ts';
import { staggeredPeakA } from '../sums/start.ts';
import { inrushA, totals, WAKE, wantedSupplyA } from '../sums/supply.ts';
import type { SupplyAnswer } from './answers.ts';

/**
 * Which supply feeds what. A rail of the file is a branch of a supply: with a fuse of its own, small
 * enough to protect wires that fit a servo's plug, so that a large supply becomes several rails.
 */

/** What draws from a rail. */
export interface RailLoad {
  /** `claw_left`, or `mist.coil` for the module of a relay. */
  id: string;
  /** In words: `servos`, `lights`, `relay modules`, `mist`. */
  of: string;
  /** The least and the most that its supply may have (V). */
  volts: readonly [number, number];
  /** The voltage that suits it best: of several supplies, and of one to buy (V). */
  wantedV: number;
  moves: boolean;
  idleA: number;
  busyA: number;
  stallA: number;
  /** The supply that the maker wants it on, by its name. */
  wish?: string;
}

/** A supply: one that is there, or one to buy. */
export interface Supply {
  /** `PS1`, as its connector in the loom. */
  id: string;
  volts: number;
  amps: number;
  source: 'mains' | 'battery';
  capacityAh?: number;
  /** It is not there yet. */
  toBuy: boolean;
  branches: Branch[];
}

/** A rail of the file. */
export interface Branch {
  name: string;
  supply: Supply;
  loads: RailLoad[];
  /** What the rail may give (A). */
  limitA: number;
  /** The most that flows, starts included, and everything at once (A). */
  needA: number;
  busyA: number;
  /** Undefined where no rating of the standard fits. */
  fuseA: number | undefined;
}

/**
 * The largest fuse of a branch (A). It protects 20 AWG, the thickest wire that common servo plugs take
 * (common practice, no source).
 */
export const BRANCH_FUSE_A = 7.5;
/** What such a fuse carries for long: the lasting share of ISO 8820 (sums/fuse.ts). */
const BRANCH_A = BRANCH_FUSE_A * 0.8;
/** Sizes that supplies come in (A). Common practice, no source. */
const SUPPLY_SIZES_A = [1, 2, 3, 5, 8, 10, 15, 20];
const LARGEST_A = SUPPLY_SIZES_A.at(-1)!;
/** Currents in the file have two decimals; a need is rounded up. */
const upTo2 = (amps: number) => Math.ceil(amps * 100) / 100;

/**
 * The most that loads ask of a rail (A): all on and every servo started, one after the other, in the order
 * that peaks the least (sums/start.ts), or while they wake (sums/supply.ts).
 */
export function needOf(loads: readonly RailLoad[]): number {
  const all = loads.map((load) => ({ ...load, movingA: load.busyA }));
  const servos = all.filter(({ moves }) => moves);
  const othersA = busySumA(all.filter(({ moves }) => !moves));
  const { idleA, movingA } = totals(all);
  return upTo2(Math.max(staggeredPeakA(all, idleA), movingA, othersA + inrushA(servos, WAKE)));
}

/** Of loads, or of branches (A). */
const busySumA = (all: readonly { busyA: number }[]) =>
  all.reduce((sum, { busyA }) => sum + busyA, 0);
const needSumA = (all: readonly Branch[]) => all.reduce((sum, { needA }) => sum + needA, 0);

/** What a supply has left for more branches (A). */
function leftA({ amps, branches }: Supply): number {
  return amps - needSumA(branches);
}

export interface SupplyPlan {
  supplies: Supply[];
  /** Load to branch, by the load's id. */
  branchOf: ReadonlyMap<string, Branch>;
  /** Loads that want a supply that cannot feed them, and why. */
  refused: { id: string; why: string }[];
}

/** Puts every load on a branch of a supply that suits it; what finds none gets a supply to buy. */
export function planSupplies(
  loads: readonly RailLoad[],
  given: readonly SupplyAnswer[],
): SupplyPlan {
  const supplies: Supply[] = given.map(({ volts, amps, source, capacityAh }, i) => ({
    id: `PS${i + 1}`,
    volts,
    amps,
    source,
    ...(capacityAh !== undefined && { capacityAh }),
    toBuy: false,
    branches: [],
  }));
  const branchOf = new Map<string, Branch>();
  const refused: SupplyPlan['refused'] = [];
  // Servos choose first: what is left is quiet enough for the rest.
  const inOrder = [...loads.filter(({ moves }) => moves), ...loads.filter(({ moves }) => !moves)];
  for (const load of inOrder) {
    const wished =
      load.wish === undefined ? undefined : supplies.find(({ id }) => id === load.wish);
    let branch = wished && suits(wished, load) ? onSupply(wished, load) : undefined;
    if (load.wish !== undefined && !branch)
      refused.push({ id: load.id, why: whyNot(wished, load) });
    for (const supply of branch ? [] : candidates(supplies, load)) {
      branch = onSupply(supply, load);
      if (branch) break;
    }
    if (!branch) {
      const id = `PS${supplies.length + 1}`;
      const fresh: Supply = {
        id,
        volts: load.wantedV,
        amps: LARGEST_A,
        source: 'mains',
        toBuy: true,
        branches: [],
      };
      supplies.push(fresh);
      branch = onSupply(fresh, load)!;
    }
    branchOf.set(load.id, branch);
  }
  for (const supply of supplies) settle(supply);
  nameBranches(supplies);
  return { supplies, branchOf, refused };
}

function suits({ volts }: Supply, load: RailLoad): boolean {
  return volts >= load.volts[0] - 1e-9 && volts <= load.volts[1] + 1e-9;
}

function whyNot(supply: Supply | undefined, load: RailLoad): string {
  if (!supply) return `there is no supply ${load.wish}`;
  if (!suits(supply, load))
    return `${supply.id} has ${supply.volts} V, and ${load.id} takes ${load.volts[0]} to ${load.volts[1]} V`;
  return `${supply.id} has no ${needOf([load])} A left for ${load.id}`;
}

/**
 * Supplies that suit a load, the nearest to what it wants first. Servos pull a supply down when they start,
 * so that nothing shares one with them unless the maker says so.
 */
function candidates(supplies: readonly Supply[], load: RailLoad): Supply[] {
  const shared = ({ branches }: Supply) =>
    branches.some(({ loads }) => loads.some(({ moves }) => moves !== load.moves));
  const offV = ({ volts }: Supply) => Math.abs(volts - load.wantedV);
  return supplies
    .filter((supply) => suits(supply, load) && !shared(supply))
    .sort((a, b) => offV(a) - offV(b));
}

/** The branch of a supply that takes the load, a new one where it must be; undefined without room. */
function onSupply(supply: Supply, load: RailLoad): Branch | undefined {
  for (const branch of supply.branches) {
    if (branch.loads.some(({ moves }) => moves !== load.moves)) continue;
    const all = [...branch.loads, load];
    const needA = needOf(all);
    if (needA > BRANCH_FUSE_A || busySumA(all) > BRANCH_A) continue;
    if (!fits(supply, needA - branch.needA, load.busyA)) continue;
    branch.loads = all;
    branch.needA = needA;
    branch.busyA = busySumA(all);
    return branch;
  }
  const needA = needOf([load]);
  if (!fits(supply, needA, load.busyA)) return undefined;
  const branch: Branch = {
    name: '',
    supply,
    loads: [load],
    limitA: needA,
    needA,
    busyA: load.busyA,
    fuseA: undefined,
  };
  supply.branches.push(branch);
  return branch;
}

/** Whether a supply can give so much more; one to buy keeps a margin, as its size is still free. */
function fits(supply: Supply, moreA: number, moreBusyA: number): boolean {
  if (leftA(supply) < moreA - 1e-9) return false;
  if (!supply.toBuy) return true;
  return wantedSupplyA(busySumA(supply.branches) + moreBusyA) <= LARGEST_A;
}

/** The size of a supply to buy; what each branch may give; its fuse. */
function settle(supply: Supply): void {
  const { branches } = supply;
  const needA = needSumA(branches);
  if (supply.toBuy) {
    const wanted = wantedSupplyA(busySumA(branches), needA);
    supply.amps = SUPPLY_SIZES_A.find((size) => size >= wanted - 1e-9) ?? LARGEST_A;
  }
  for (const branch of branches) {
    // What the supply can give is shared by what the branches need.
    const share = needA > 0 ? branch.needA / needA : 1;
    branch.fuseA = fuseOf(branch);
    const mostA = Math.min(supply.amps * share, branch.fuseA ?? Number.POSITIVE_INFINITY);
    branch.limitA = Math.max(branch.needA, Math.floor(mostA * 100) / 100);
  }
}

/** The fuse of a branch, where the wires behind it carry what its largest fuse lets through. */
function fuseOf({ busyA, needA }: Branch): number | undefined {
  return fuseFor({ loadA: busyA, momentA: needA, wireA: BRANCH_FUSE_A }, 'ISO 8820');
}

/** Ratings of a fuse (A) that carry what a branch needs and protect its wires. */
export function fusesFor({ needA }: Branch): number[] {
  return FUSE_RATINGS_A['ISO 8820'].filter((rating) => rating >= needA && rating <= BRANCH_FUSE_A);
}

/** `servo6v`, `servo6v_2`, `light5v`. */
function nameBranches(supplies: readonly Supply[]): void {
  const used = new Map<string, number>();
  for (const { branches, volts } of supplies)
    for (const branch of branches) {
      const sorts = new Set(branch.loads.map(({ of }) => of));
      const word = sorts.size === 1 ? [...sorts][0]! : 'logic';
      const base = `${word}${String(volts).replace('.', 'v')}${Number.isInteger(volts) ? 'v' : ''}`;
      const count = (used.get(base) ?? 0) + 1;
      used.set(base, count);
      branch.name = count === 1 ? base : `${base}_${count}`;
    }
}
