import { feedsDirectly } from '../prop/battery.ts';
import { didYouMean } from '../prop/finding.ts';
import type { Rail as RailEntry } from '../prop/schema.ts';
import { Refusal } from '../shared/errors.ts';
import { interpolate, table } from '../sums/calibration.ts';
import { runTimeH } from '../sums/supply.ts';
import type { Body } from './body.ts';
import { railAmps } from './plant-amps.ts';

/** An empty battery has this share of its full voltage, where the file does not say. Chosen, no source. */
const EMPTY_SHARE = 0.85;
/** After a gap this long (s) it goes on as if there had been none. */
const MOST_S = 1;

interface Charge {
  rail: string;
  battery: NonNullable<RailEntry['battery']>;
  /** Voltage without a load (V) by the share that is left. */
  volts: Float64Array;
}

/**
 * The batteries of a prop on simulated boards: full at the start, and drained by what the prop draws, by
 * Peukert's formula as in `runTimeH`.
 */
export class PlantBatteries {
  #body: Body | undefined;
  /** By the place of the rail; undefined where no battery feeds it directly. */
  #charges: (Charge | undefined)[] = [];
  /** The share that is left, 0 to 1, by the place of the rail. */
  #left = new Float64Array();
  #lastMs = Number.NaN;

  /** Drains them, once for each time. */
  tick(body: Body, nowMs: number): void {
    if (body !== this.#body) this.#follow(body);
    const dtS = (nowMs - this.#lastMs) / 1000;
    this.#lastMs = nowMs;
    if (!(dtS > 0 && dtS <= MOST_S)) return;
    for (let rail = 0; rail < this.#charges.length; rail++) {
      const charge = this.#charges[rail];
      if (!charge) continue;
      const share = dtS / 3600 / runTimeH(charge.battery, railAmps(body, charge.rail));
      this.#left[rail] = Math.max(0, this.#left[rail]! - share);
    }
  }

  /** The voltage without a load (V); undefined where the rail has no battery. */
  openV(rail: number): number | undefined {
    const charge = this.#charges[rail];
    return charge && interpolate(charge.volts, 0, this.#left[rail]!);
  }

  /**
   * From now on a battery has so much left.
   * @throws Refusal `sim.no-battery`
   */
  set(body: Body, shares: Readonly<Record<string, number>>): void {
    if (body !== this.#body) this.#follow(body);
    for (const [name, left] of Object.entries(shares)) {
      const rail = this.#charges.findIndex((one) => one?.rail === name);
      if (rail >= 0) {
        this.#left[rail] = left;
        continue;
      }
      const names = this.#charges.flatMap((one) => one?.rail ?? []);
      throw new Refusal(
        'sim.no-battery',
        `no battery feeds the rail ${name}; ${names.length > 0 ? didYouMean(name, names) : 'none of the rails has one'}`,
        { rail: name, rails: names },
      );
    }
  }

  /** Another version of the file: a battery that is there still has what it had. */
  #follow(body: Body): void {
    const before = this.#charges;
    const left = this.#left;
    this.#body = body;
    this.#charges = body.rails.map(({ name }) => chargeOf(name, body.prop.rails[name]!));
    this.#left = Float64Array.from(this.#charges, (charge) => {
      const was = before.findIndex((one) => one !== undefined && one.rail === charge?.rail);
      return was >= 0 ? left[was]! : 1;
    });
  }
}

function chargeOf(rail: string, entry: RailEntry): Charge | undefined {
  const { battery, volts } = entry;
  if (!battery || !feedsDirectly(entry)) return undefined;
  const fullV = battery.fullV ?? battery.nominalV ?? volts;
  const points: [number, number][] = battery.curve
    ? battery.curve.map(([atV, left]) => [left, atV])
    : [
        [0, battery.emptyV ?? EMPTY_SHARE * fullV],
        [1, fullV],
      ];
  return { rail, battery, volts: table(points.sort(([a], [b]) => a - b)) };
}
