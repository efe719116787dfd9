import type { Driver, Frame, InputSpec, OutputSpec } from '../drivers/driver.ts';

/** One board: collects what changes in a tick and hands it to the driver as one frame. */
export class Board {
  readonly name: string;
  readonly driver: Driver;
  readonly outputs: OutputSpec[] = [];
  readonly inputs: InputSpec[] = [];
  /** A driver that threw is not written to again until a reset has opened it anew. */
  dead = false;
  #frame: Frame = { count: 0, output: new Uint16Array(0), value: new Float64Array(0) };
  #written = new Float64Array(0);

  constructor(name: string, driver: Driver) {
    this.name = name;
    this.driver = driver;
  }

  /** Adds an output while the prop is put together; returns its position. */
  addOutput(spec: OutputSpec): number {
    return this.outputs.push(spec) - 1;
  }

  addInput(spec: InputSpec): number {
    return this.inputs.push(spec) - 1;
  }

  /** Claims the pins; every output is at its safe value afterwards. */
  async open(): Promise<void> {
    await this.driver.open(this.outputs, this.inputs);
    const count = this.outputs.length;
    this.#frame = { count: 0, output: new Uint16Array(count), value: new Float64Array(count) };
    this.#written = Float64Array.from(this.outputs, (output) => output.safe);
    this.dead = false;
  }

  /** Notes the value of an output for this tick; at most once per output and tick. */
  put(output: number, value: number): void {
    if (this.#written[output] === value) return;
    this.#written[output] = value;
    const frame = this.#frame;
    frame.output[frame.count] = output;
    frame.value[frame.count] = value;
    frame.count++;
  }

  /** Writes what has changed. @throws whatever the driver throws */
  flush(nowMs: number): void {
    const frame = this.#frame;
    try {
      if (this.dead) return;
      if (frame.count > 0) this.driver.write(frame, nowMs);
      else this.driver.check?.(nowMs);
    } finally {
      frame.count = 0;
    }
  }
}
