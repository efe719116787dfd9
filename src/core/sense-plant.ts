import { feedsDirectly } from '../prop/battery.ts';
import type { Rail as RailEntry } from '../prop/schema.ts';
import type { Body } from './body.ts';
import { channelAmps, railAmps } from './plant-amps.ts';
import type { PlantSupplies } from './plant-supplies.ts';
import type { Sense } from './senses.ts';

/*
 * What there is to be measured on simulated boards. It follows from the simulated servos and batteries, and
 * from the estimated draw of everything else.
 */

/** Resistance of a supply and its wires (ohm). Common practice, no source. */
const SUPPLY_OHM = 0.05;
/** Resistance of a battery by its capacity (ohm Ah). Common practice, no source. */
const BATTERY_OHM_AH = 0.15;
/** A level that nothing changes. */
const HALF = 0.5;
/** A voltage of nothing in particular (V). */
const SOME_V = 5;

const amps = new Float64Array(1);

/** Tells simulated boards what there is to be measured, once the servos have been asked. */
export function exposePlant(body: Body, supplies: PlantSupplies, nowMs: number): void {
  const { list } = body.senses;
  for (let i = 0; i < list.length; i++) {
    const sense = list[i]!;
    const { driver, dead, away } = sense.board;
    if (sense.quantity === undefined || !driver.exposeSense || dead || away) continue;
    supplies.batteries.tick(body, nowMs);
    driver.exposeSense(sense.at, sense.rawOf(truthOf(body, supplies, sense)));
  }
}

function truthOf(body: Body, supplies: PlantSupplies, { name, entry }: Sense): number {
  switch (entry.kind) {
    case 'current':
      return entry.channel === undefined
        ? railAmps(body, entry.rail)
        : channelAmps(body, entry.channel);
    case 'volts': {
      const rail = entry.rail === undefined ? undefined : body.prop.rails[entry.rail];
      if (!rail) return (entry.warnBelow ?? entry.parkBelow ?? SOME_V) * 1.1;
      const amps = railAmps(body, entry.rail);
      const place = body.rails.findIndex((one) => one.name === entry.rail);
      const sourceV = supplies.batteries.openV(place) ?? rail.volts;
      return sourceV - supplyOhm(rail) * amps - wiresV(body, supplies, name, amps);
    }
    case 'position': {
      const { measuredDeg, setpoint } = body.servo(entry.channel);
      return Number.isNaN(measuredDeg) ? setpoint.pos : measuredDeg;
    }
    default:
      return HALF;
  }
}

/** What the wires up to a sense drop (V), while so much flows from its rail. */
function wiresV(
  { prop, channels, servos }: Body,
  supplies: PlantSupplies,
  far: string,
  railA: number,
): number {
  const way = prop.dropWays?.find((one) => one.far === far);
  if (!way) return 0;
  let sum = way.shuntOhm * railA;
  for (const channel of channels) {
    const goodOhm = way.ohm[channel.name];
    if (goodOhm === undefined) continue;
    const ohm = goodOhm + supplies.crimpOhm(way.suspects, channel.name);
    channel.writeAmps(amps, 0);
    const measuredA = servos.find((servo) => servo === channel)?.measuredA ?? Number.NaN;
    sum += ohm * (Number.isNaN(measuredA) ? amps[0]! : measuredA);
  }
  return sum;
}

function supplyOhm(rail: RailEntry): number {
  const battery = feedsDirectly(rail) ? rail.battery : undefined;
  return battery ? (battery.internalOhm ?? BATTERY_OHM_AH / battery.capacityAh) : SUPPLY_OHM;
}
