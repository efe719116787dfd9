import { type Finding, MISSING, type World } from '../boards/doctor.ts';
import { readOnly } from '../boards/doctor-i2c.ts';
import { hex, type I2cPlace } from '../boards/on-i2c.ts';
import { type Board, type DriverName, factsOf, recognised, setUpOf } from '../boards/registry.ts';
import {
  busesOf,
  FIRST_ADDRESS,
  LAST_ADDRESS,
  type PlacedBoard,
  placedBoards,
} from '../boards/scan.ts';

/**
 * Finds out by reading alone which chips are on the I2C buses of a prop, and on that of the header: boards
 * that the file does not have, and boards in whose place there is another.
 */
export async function chips(
  world: World,
  boards: Readonly<Record<string, Board>>,
): Promise<Finding[]> {
  const placed = placedBoards(boards);
  const findings: Finding[] = [];
  for (const bus of busesOf(placed)) {
    if (!(await world.exists(`/dev/i2c-${bus}`))) continue;
    const own = placed.filter((one) => one.bus === bus);
    const answering = await whoAnswers(world, bus);
    if (!answering) {
      if (own.some(({ board }) => factsOf(board).measures))
        findings.push({
          what: `I2C bus ${bus}`,
          state: 'unknown',
          text: 'i2c-tools is not installed, so it is not known which boards answer',
        });
      continue;
    }
    for (const address of answering) {
      const at = own.find((one) => one.address === address);
      const finding = await chip(world, { bus, address }, at);
      if (finding) findings.push(finding);
    }
    const others = own.filter((one) => !answering.includes(one.address));
    findings.push(...(await silent(world, others)));
  }
  return findings;
}

/** The addresses at which something answers; undefined where the program for that is missing. */
async function whoAnswers({ run }: World, bus: number): Promise<number[] | undefined> {
  const said = await run(
    'i2cdetect',
    '-y',
    '-r',
    String(bus),
    hex(FIRST_ADDRESS),
    hex(LAST_ADDRESS),
  ).catch(() => '');
  if (said === MISSING) return undefined;
  const row = /^40: (.*)$/m.exec(said)?.[1] ?? '';
  const cells = row.trim().split(/\s+/);
  return cells.flatMap((cell, i) => (/^[0-9a-f]{2}$/.test(cell) ? [FIRST_ADDRESS + i] : []));
}

/** What a chip is, beside what the file says. */
async function chip(
  world: World,
  place: I2cPlace,
  own: { name: string; board: Board } | undefined,
): Promise<Finding | undefined> {
  const drivers = await recognised(readOnly(world, place)).catch((): DriverName[] => []);
  const [driver] = drivers;
  const at = `chip at ${hex(place.address)}`;
  if (!own) {
    const what = `I2C bus ${place.bus}: ${at}`;
    if (driver === undefined)
      return { what, state: 'unknown', text: 'answers, and no driver knows it' };
    const entry = { ...setUpOf(driver).entry(0, 'PWM'), ...place };
    const { driver: _, bus, address, ...rest } = entry as Board & I2cPlace;
    const keys = Object.entries(rest).map(([key, value]) => `, ${key}: ${value}`);
    return {
      what,
      state: 'fine',
      text: `is a board for driver ${driver}, and the file has none there. To use it, add under boards: NAME: { driver: ${driver}, bus: ${bus}, address: ${hex(address)}${keys.join('')} }, with the values that are printed on it`,
    };
  }
  const what = `board ${own.name}: ${at}`;
  if (drivers.includes(own.board.driver))
    return { what, state: 'fine', text: `is a board for driver ${own.board.driver}` };
  if (driver !== undefined)
    return {
      what,
      state: 'wrong',
      text: `is a board for driver ${driver}, and the file says ${own.board.driver}`,
      remedy:
        'correct the driver or the address; two boards with one address need other solder pads',
    };
  if (!factsOf(own.board).measures) return undefined;
  return {
    what,
    state: 'wrong',
    text: `answers, but is not a board for driver ${own.board.driver}, or another program has set it up`,
    remedy: 'give the address of the right board; if it is this one, switch its supply off and on',
  };
}

/** Of the boards that the search has not found: those that measure and do not answer. */
async function silent(world: World, own: readonly PlacedBoard[]): Promise<Finding[]> {
  const findings: Finding[] = [];
  for (const { name, board, bus, address } of own) {
    if (!factsOf(board).measures) continue;
    const what = `board ${name}: chip at ${hex(address)}`;
    try {
      await readOnly(world, { bus, address }).read(0);
    } catch (error) {
      findings.push({
        what,
        state: 'wrong',
        text: `does not answer: ${(error as Error).message}`,
        remedy: `check SDA, SCL, ground, its supply and its address pads; i2cdetect -y ${bus} shows who answers`,
      });
    }
  }
  return findings;
}
