import { didYouMean } from '../prop/finding.ts';
import { Refusal } from '../shared/errors.ts';
import type { Body } from './body.ts';
import { PlantBatteries } from './plant-batteries.ts';

/** What is simulated of supplies and their wires: what batteries have left, and bad crimps. */
export class PlantSupplies {
  readonly batteries = new PlantBatteries();
  /** Resistance of a bad crimp (ohm), by the label of its wire. */
  readonly #crimps = new Map<string, number>();

  /**
   * From now on these wires have a bad crimp of so many ohms; 0 mends it. If one is refused, none is changed.
   * @throws Refusal `sim.no-wire` for a wire along which no drop is measured
   */
  crimp({ prop }: Body, ohms: Readonly<Record<string, number>>): void {
    const ways = prop.dropWays ?? [];
    const known = ways.flatMap(({ suspects }) => suspects.flatMap(({ wires }) => wires));
    for (const wire of Object.keys(ohms)) {
      if (known.includes(wire)) continue;
      const why =
        known.length > 0
          ? didYouMean(wire, known)
          : 'that needs the current of a rail, and its voltage at a far end (at)';
      throw new Refusal('sim.no-wire', `no drop is measured along ${wire}; ${why}`, {
        ...{ wire, wires: known },
      });
    }
    for (const [wire, ohm] of Object.entries(ohms))
      if (ohm > 0) this.#crimps.set(wire, ohm);
      else this.#crimps.delete(wire);
  }

  /** What bad crimps add to what a channel drops on its way to a voltage sense (ohm). */
  crimpOhm(
    suspects: readonly { wires: readonly string[]; share: Readonly<Record<string, number>> }[],
    channel: string,
  ): number {
    let sum = 0;
    if (this.#crimps.size === 0) return sum;
    for (const { wires, share } of suspects)
      for (const wire of wires) sum += (this.#crimps.get(wire) ?? 0) * (share[channel] ?? 0);
    return sum;
  }
}
