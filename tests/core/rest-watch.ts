import type { Rig } from './rig.ts';

/** At rest in `parked` or `stopped`, nothing at all is written. */
export class RestWatch {
  readonly #rig: Rig;
  #stillTicks = 0;
  #condition = '';
  #entries = 0;

  constructor(rig: Rig) {
    this.#rig = rig;
  }

  /** After every tick. @throws Error that names the output which was written to */
  tick(): void {
    const rig = this.#rig;
    const { servos, lights } = rig.core.body;
    const still =
      !servos.some((one) => one.moving || rig.core.nowS < one.jumpUntilS) &&
      !lights.some((one) => one.fading || one.flashHeld);
    // A stop may be followed by a harder one, which drops what was still held.
    const news = rig.entries.slice(this.#entries).some(({ what }) => what === 'stop');
    this.#entries = rig.entries.length;
    const resting = rig.condition === 'parked' || rig.condition === 'stopped';
    const goesOn = resting && still && !news && rig.condition === this.#condition;
    this.#stillTicks = goesOn ? this.#stillTicks + 1 : 0;
    this.#condition = rig.condition;
    const last = rig.writes.at(-1);
    // What was decided in the tick before may still be written in the first.
    if (this.#stillTicks > 2 && last && last.ms === rig.clock.nowMs())
      throw new Error(`${last.output} was written to in ${rig.condition}`);
  }
}
