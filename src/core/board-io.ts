import type { Sense } from '../boards/board.ts';
import type { Clock } from '../shared/clock.ts';
import type { Board } from './boards.ts';
import type { Body } from './body.ts';
import type { Servo } from './servo.ts';

/** What goes to the boards and comes from them. A board that throws is reported, and the others go on. */
export class BoardIo {
  readonly #clock: Clock;
  readonly #onFailure: (board: Board, error: Error) => void;
  readonly #sense: Sense = { positionDeg: Number.NaN, amps: Number.NaN, pushing: false };

  constructor(clock: Clock, onFailure: (board: Board, error: Error) => void) {
    this.#clock = clock;
    this.#onFailure = onFailure;
  }

  /** Claims the pins of boards. @throws what a driver throws; then none is claimed */
  async open(boards: readonly Board[]): Promise<void> {
    const opened: Board[] = [];
    try {
      for (const board of boards) {
        await board.open(this.#clock);
        opened.push(board);
      }
    } catch (error) {
      // What was claimed is released again, safe.
      for (const board of opened) await board.close(this.#clock).catch(() => {});
      throw error;
    }
  }

  /** Sends what is still to be sent and frees the pins. */
  async close(boards: readonly Board[]): Promise<void> {
    // Of all boards first: one may cut the outputs of another that hangs.
    this.flush(boards, this.#clock.nowMs());
    for (const board of boards)
      await board.close(this.#clock).catch((error: Error) => this.#onFailure(board, error));
  }

  /**
   * Collects the outputs of this tick.
   * @param cut the pins that enable the outputs of a chip say no
   */
  put({ channels, enables }: Body, cut: boolean): void {
    for (let i = 0; i < channels.length; i++) channels[i]!.put();
    for (let i = 0; i < enables.length; i++) {
      const { board, host, output } = enables[i]!;
      // The pin is active when low.
      host.put(output, cut || board.dead || board.away ? 1 : 0);
    }
  }

  /** Hands what was collected to the drivers. */
  flush(boards: readonly Board[], nowMs: number): void {
    for (let i = 0; i < boards.length; i++) {
      const board = boards[i]!;
      try {
        board.flush(nowMs);
      } catch (error) {
        this.#onFailure(board, error as Error);
      }
    }
  }

  /** The level of an input; undefined when its board has failed, or fails now. */
  level(board: Board, input: number): 0 | 1 | undefined {
    if (board.dead || board.away) return undefined;
    try {
      return board.driver.read(input);
    } catch (error) {
      this.#onFailure(board, error as Error);
      return undefined;
    }
  }

  /** Asks the drivers what they measure of the servos. */
  measure(servos: readonly Servo[], nowMs: number): void {
    const sense = this.#sense;
    for (let i = 0; i < servos.length; i++) {
      const servo = servos[i]!;
      const { driver, dead, away } = servo.board;
      if (!driver.sense) {
        // What a sense has shown of it must not be taken for what its own board measures.
        servo.measuredDeg = Number.NaN;
        servo.measuredA = Number.NaN;
      }
      if (!driver.sense || dead || away) continue;
      try {
        driver.sense(servo.output, nowMs, sense);
      } catch (error) {
        this.#onFailure(servo.board, error as Error);
        continue;
      }
      servo.measuredDeg = sense.positionDeg;
      servo.measuredA = sense.amps;
      servo.pushing = sense.pushing;
    }
  }
}
