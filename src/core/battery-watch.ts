import type { Battery } from '../prop/battery.ts';
import { BATTERY_FIELD } from '../shared/telemetry.ts';
import { interpolate, table } from '../sums/calibration.ts';
import type { Body, Rail } from './body.ts';

/** The mean draw is that of about this time (s): a few cues and the rests between them. */
const MEAN_S = 300;
/** What is read off the curve is smoothed with this time constant (s). */
const CURVE_S = 30;
/** Without a load and with this share of `fullV`, a battery is full (common practice, no source). */
const FULL_SHARE = 0.985;
/** Below this share of `fullV` no battery is connected: another one may come. */
const GONE_SHARE = 0.3;
/** A longer time between two ticks is a stall, and says nothing of what flowed (s). */
const MOST_S = 1;

interface Watched {
  rail: Rail;
  battery: Battery;
  numbers: Float64Array;
  /** Share left by voltage without a load, where the file gives the curve. */
  curve: Float64Array | undefined;
  /** Sums of the means: their weight, the current, and how much of it was measured. */
  weight: number;
  ampsSum: number;
  measuredSum: number;
  /** Voltage without a load (V), smoothed; NaN until it is measured. */
  openV: number;
}

/**
 * What is left of batteries, and what they give. The draw is the measured one where there is one, else the
 * estimate. What is left is read off the file's curve by the voltage without a load (the measured one plus
 * current times `internalOhm`), or counted since the battery was seen full, or not known. It decides
 * nothing: a limit on the measured voltage does.
 */
export class BatteryWatch {
  #body: Body | undefined;
  #watched: Watched[] = [];
  #lastMs = Number.NaN;

  /** As often as drivers are asked what they measure; allocates nothing. */
  tick(body: Body, nowMs: number): void {
    if (body !== this.#body) this.#follow(body);
    const dtS = (nowMs - this.#lastMs) / 1000;
    this.#lastMs = nowMs;
    if (!(dtS > 0 && dtS <= MOST_S)) return;
    for (let i = 0; i < this.#watched.length; i++) step(this.#watched[i]!, dtS);
  }

  /** Another version of the file: a battery that is the same goes on as it was. */
  #follow(body: Body): void {
    const before = this.#watched;
    this.#body = body;
    this.#watched = body.rails.flatMap((rail): Watched[] => {
      const { battery } = body.prop.rails[rail.name]!;
      if (!rail.battery || !battery) return [];
      const was = before.find(
        (one) =>
          one.rail.name === rail.name && JSON.stringify(one.battery) === JSON.stringify(battery),
      );
      if (was) {
        rail.battery.set(was.numbers);
        return [{ ...was, rail, battery, numbers: rail.battery }];
      }
      const points = [...(battery.curve ?? [])].sort(([a], [b]) => a - b);
      return [
        {
          ...{ rail, battery, numbers: rail.battery, openV: Number.NaN },
          curve: points.length > 0 ? table(points) : undefined,
          ...{ weight: 0, ampsSum: 0, measuredSum: 0 },
        },
      ];
    });
  }
}

function step(one: Watched, dtS: number): void {
  const { rail, battery, numbers, curve } = one;
  const isMeasured = !Number.isNaN(rail.measuredA);
  // A meter about 0 may read slightly less.
  const amps = Math.max(isMeasured ? rail.measuredA : rail.amps, 0);
  const keep = Math.exp(-dtS / MEAN_S);
  one.weight = one.weight * keep + 1 - keep;
  one.ampsSum = one.ampsSum * keep + amps * (1 - keep);
  one.measuredSum = one.measuredSum * keep + (isMeasured ? 1 - keep : 0);
  numbers[BATTERY_FIELD.meanA] = one.ampsSum / one.weight;
  numbers[BATTERY_FIELD.measured] = one.measuredSum / one.weight;

  const ohm = battery.internalOhm ?? 0;
  const openV = rail.measuredV + amps * ohm;
  if (Number.isNaN(openV)) one.openV = Number.NaN;
  else if (Number.isNaN(one.openV)) one.openV = openV;
  else one.openV += (openV - one.openV) * (1 - Math.exp(-dtS / CURVE_S));
  const knowsLoss = battery.internalOhm !== undefined;
  numbers[BATTERY_FIELD.expectedV] = knowsLoss ? one.openV - amps * ohm : Number.NaN;

  if (curve) {
    const left = interpolate(curve, 0, one.openV);
    numbers[BATTERY_FIELD.left] = Number.isNaN(left) ? left : Math.min(Math.max(left, 0), 1);
    numbers[BATTERY_FIELD.counted] = 0;
    return;
  }
  const { fullV, capacityAh } = battery;
  if (fullV === undefined) return;
  numbers[BATTERY_FIELD.counted] = 1;
  if (openV < fullV * GONE_SHARE) numbers[BATTERY_FIELD.left] = Number.NaN;
  // Only the voltage over some time: a brief spike is no full battery.
  else if (one.openV >= fullV * FULL_SHARE && openV >= fullV * FULL_SHARE)
    numbers[BATTERY_FIELD.left] = 1;
  else {
    const left = numbers[BATTERY_FIELD.left]! - (amps * dtS) / 3600 / capacityAh;
    numbers[BATTERY_FIELD.left] = Number.isNaN(left) ? left : Math.max(left, 0);
  }
}
