/**
 * Copper wire: size, resistance, voltage drop and current capacity. For direct current, or mains
 * frequency in sections so small that the skin effect does not matter (up to about 50 mm2).
 */

/** Nominal cross-sections of conductors (mm2), IEC 60228. */
export const IEC_60228_MM2: readonly number[] = [
  0.5, 0.75, 1, 1.5, 2.5, 4, 6, 10, 16, 25, 35, 50, 70, 95, 120, 150, 185, 240, 300, 400, 500, 630,
  800, 1000,
];

/** Resistivity of annealed copper at 20 C (ohm mm2/m), IEC 60028. */
const COPPER_20 = 1 / 58;
/** Change of copper's resistance per kelvin, as a share of its value at 20 C, IEC 60028. */
const COPPER_PER_K = 0.00393;

/**
 * Diameter (mm) of a solid wire of an American wire gauge: 0.127 mm x 92^((36 - gauge) / 39), ASTM
 * B258. Sizes 00, 000 and 0000 are -1, -2 and -3.
 */
export function awgDiameterMm(gauge: number): number {
  return 0.127 * 92 ** ((36 - gauge) / 39);
}

/** Section (mm2) of a solid wire of an American wire gauge (ASTM B258); stranded wire has about as much. */
export function awgSectionMm2(gauge: number): number {
  return (Math.PI / 4) * awgDiameterMm(gauge) ** 2;
}

/** Resistivity of annealed copper (ohm mm2/m) at a temperature (C), IEC 60028; good for -50 to 150 C. */
export function copperResistivity(celsius = 20): number {
  return COPPER_20 * (1 + COPPER_PER_K * (celsius - 20));
}

/**
 * Resistance (ohm/m) of one copper conductor of a section (mm2), at 20 C by default: resistivity over
 * section. Flexible wire of tinned strands has up to 19 % more: IEC 60228, class 5, table 3, which allows
 * for manufacturing tolerances (from memory).
 */
export function ohmPerMetre(sectionMm2: number, celsius = 20): number {
  return copperResistivity(celsius) / sectionMm2;
}

/** A load at the end of two conductors of its own. */
export interface Run {
  amps: number;
  /** Length one way (m). */
  lengthM: number;
}

/**
 * The smallest section (mm2) with which no more than `dropV` (V) is lost on the way to a load and back:
 * current x resistance x twice the length (Ohm's law). For conductors that only this load uses; for shared
 * ones see network.ts.
 */
export function sectionForDropMm2({ amps, lengthM }: Run, dropV: number, celsius = 20): number {
  return (amps * 2 * lengthM * copperResistivity(celsius)) / dropV;
}

/** The thinnest even gauge (30 to 0 AWG) with at least this section; undefined where none has it. */
export function awgWithSection(sectionMm2: number): number | undefined {
  for (let gauge = 30; gauge >= 0; gauge -= 2) if (awgSectionMm2(gauge) >= sectionMm2) return gauge;
  return undefined;
}

/** The smallest nominal section of IEC 60228 at or above this one (mm2); undefined above the largest. */
export function iecSectionMm2(sectionMm2: number): number | undefined {
  return IEC_60228_MM2.find((nominal) => nominal >= sectionMm2);
}

/** [mm2, A]: IEC 60204-1 table 6, PVC, 40 C ambient; 0.2 and 0.5 for electronics, method B2. */
const CAPACITY: readonly (readonly [mm2: number, amps: number])[] = [
  [0.2, 4.3],
  [0.5, 7.5],
  [0.75, 8.5],
  [1, 10.1],
  [1.5, 13.1],
  [2.5, 17.4],
  [4, 23],
  [6, 30],
  [10, 40],
  [16, 54],
  [25, 70],
];

/**
 * Current (A) that a copper conductor with PVC insulation may carry continuously in a cable in a conduit:
 * IEC 60204-1, table 6, method B2, 40 C ambient (from memory). Power law between the sections of the
 * table, 0.2 to 25 mm2; below them in proportion to the section (which is cautious), above them the last
 * value. Bundles carry less: `bundleFactor`.
 */
export function capacityA(sectionMm2: number): number {
  const [smallest, largest] = [CAPACITY[0]!, CAPACITY.at(-1)!];
  if (sectionMm2 <= smallest[0]) return (smallest[1] * sectionMm2) / smallest[0];
  const above = CAPACITY.findIndex(([mm2]) => mm2 >= sectionMm2);
  if (above < 0) return largest[1];
  const [lowMm2, lowA] = CAPACITY[above - 1]!;
  const [highMm2, highA] = CAPACITY[above]!;
  const share = Math.log(sectionMm2 / lowMm2) / Math.log(highMm2 / lowMm2);
  return lowA * (highA / lowA) ** share;
}

/** Area of a circular mil, a circle with a diameter of a thousandth of an inch (mm2). */
const CIRCULAR_MIL_MM2 = (Math.PI / 4) * 0.0254 ** 2;
/** Circular mils for each ampere of a wire in a bundle. */
const MILS_PER_A = 700;

/**
 * Current (A) by the rule of 700 circular mils for each ampere, which tables of American wire gauges give
 * beside the one for a single wire in free air ("maximum amps for power transmission" in the Handbook of
 * Electronic Tables and Formulas; from memory). A quarter to a half of what other rules allow for thin
 * wires.
 */
export function strictCapacityA(sectionMm2: number): number {
  return sectionMm2 / (CIRCULAR_MIL_MM2 * MILS_PER_A);
}

/** Highest temperature of PVC insulation, and the ambient temperature that its table is for (C). */
const PVC_C = 70;
const TABLE_C = 40;

/**
 * Share of its capacity that a PVC wire keeps above an ambient temperature of 40 C: heat loss is
 * proportional to the difference in temperature, and heat to the square of the current. IEC 60204-1,
 * annex D, has 0.91, 0.82, 0.71 and 0.58 for 45, 50, 55 and 60 C (from memory). Never more than 1, even
 * in a cool prop; 0 from 70 C.
 */
export function ambientFactor(ambientC: number): number {
  return Math.sqrt(Math.min(1, Math.max(0, PVC_C - ambientC) / (PVC_C - TABLE_C)));
}

/** [circuits, factor]: IEC 60364-5-52, table B.52.17, bunched. */
const BUNCHED: readonly (readonly [circuits: number, factor: number])[] = [
  [1, 1],
  [2, 0.8],
  [3, 0.7],
  [4, 0.65],
  [5, 0.6],
  [6, 0.57],
  [7, 0.54],
  [8, 0.52],
  [9, 0.5],
  [12, 0.45],
  [16, 0.41],
  [20, 0.38],
];

/**
 * Share of its capacity that each of this many loaded circuits keeps when bunched: IEC 60364-5-52, table
 * B.52.17 (from memory); between its rows the next larger number, above 20 the last value. For equal,
 * fully loaded circuits. Only a caution: local codes decide.
 */
export function bundleFactor(circuits: number): number {
  return (BUNCHED.find(([count]) => count >= circuits) ?? BUNCHED.at(-1)!)[1];
}
