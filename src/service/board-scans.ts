import type { Result } from '../api/methods.ts';
import { openI2cAlone } from '../boards/i2c.ts';
import { type Board, simulatedChipsOf } from '../boards/registry.ts';
import {
  busesOf,
  type FoundChip,
  HEADER_BUS,
  type PlacedBoard,
  placedBoards,
  type ScanLine,
  scanBus,
  simulatedLine,
} from '../boards/scan.ts';
import { boardPartsOf } from '../prop/board-parts.ts';
import type { Clock } from '../shared/clock.ts';
import { Refusal } from '../shared/errors.ts';

/** From the end of a scan to the begin of the next (ms): boards in use share the bus. */
const PAUSE_MS = 2000;

type Scanned = Result<'board.scan'>;

/**
 * Scans the I2C buses of this machine, one scan at a time. Each bus is opened in a thread of its own, so
 * that one that hangs holds up nothing else; until it has let go, it is not opened again.
 */
export class BoardScans {
  readonly #clock: Clock;
  readonly #openBus: (bus: number) => Promise<ScanLine>;
  /** Buses that are open, or hang in being opened or closed. */
  readonly #open = new Set<number>();
  #running = false;
  #endMs = Number.NEGATIVE_INFINITY;

  constructor(clock: Clock, openBus: (bus: number) => Promise<ScanLine> = (n) => openI2cAlone(n)) {
    this.#clock = clock;
    this.#openBus = openBus;
  }

  /**
   * @param boards those of the prop in use, which are listed and not asked
   * @throws Refusal `scan.busy`
   */
  async scan(boards: Readonly<Record<string, Board>>): Promise<Scanned> {
    this.#mustBeFree();
    this.#running = true;
    try {
      const placed = placedBoards(boards);
      const found: Scanned = { buses: [], chips: [] };
      for (const bus of busesOf(placed)) {
        const { chips, trouble } = await this.#scanBus(bus, placed);
        const used = placed.filter((one) => one.bus === bus).map(inUse);
        found.buses.push({ bus, simulated: false, ...(trouble !== undefined && { trouble }) });
        found.chips.push(
          ...[...chips.map((chip) => asked(bus, false, chip)), ...used].sort(
            (a, b) => a.address - b.address,
          ),
        );
      }
      await this.#simulated(boards, found);
      return found;
    } finally {
      this.#running = false;
      this.#endMs = this.#clock.nowMs();
    }
  }

  #mustBeFree(): void {
    const waitS = Math.ceil((this.#endMs + PAUSE_MS - this.#clock.nowMs()) / 1000);
    if (!this.#running && !(waitS > 0)) return;
    throw new Refusal(
      'scan.busy',
      this.#running
        ? 'the buses are being scanned; wait until that is done'
        : `the buses were scanned only just; try again in ${waitS} s`,
      this.#running ? {} : { waitS },
    );
  }

  async #scanBus(bus: number, placed: readonly PlacedBoard[]) {
    if (this.#open.has(bus))
      return {
        chips: [],
        trouble: `I2C bus ${bus} still hangs from the scan before: check SDA and SCL for a short, and the pull-up resistors`,
      };
    const skip = placed.filter((one) => one.bus === bus).map(({ address }) => address);
    return scanBus(bus, new Set(skip), { clock: this.#clock, open: () => this.#opened(bus) });
  }

  async #opened(bus: number): Promise<ScanLine> {
    this.#open.add(bus);
    try {
      const line = await this.#openBus(bus);
      return {
        readWords: (address, registers) => line.readWords(address, registers),
        close: () => line.close().finally(() => this.#open.delete(bus)),
      };
    } catch (error) {
      this.#open.delete(bus);
      throw error;
    }
  }

  /** The bus of a simulated board: nothing of it is on this machine. */
  async #simulated(boards: Readonly<Record<string, Board>>, found: Scanned): Promise<void> {
    const simulated = await simulatedChipsOf(boards);
    if (!simulated) return;
    const bus = HEADER_BUS;
    const around = { clock: this.#clock, open: async () => simulatedLine(simulated) };
    const { chips } = await scanBus(bus, new Set(), around);
    found.buses.push({ bus, simulated: true });
    found.chips.push(...chips.map((chip) => asked(bus, true, chip)));
  }
}

function asked(bus: number, simulated: boolean, chip: FoundChip): Scanned['chips'][number] {
  return { bus, simulated, ...chip, parts: chip.drivers.flatMap(boardPartsOf) };
}

/** A board of the prop in use. */
function inUse({ name, board, bus, address }: PlacedBoard): Scanned['chips'][number] {
  return { bus, simulated: false, address, drivers: [board.driver], parts: [], board: name };
}
