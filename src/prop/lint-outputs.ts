import type { Path } from './finding.ts';
import { HEADER_PINS, powerOnPull, reservedFor } from './header.ts';
import { kindOf, relayOf, servoOf } from './kinds/kind.ts';
import type { Notes } from './notes.ts';
import type { Board, RelayChannel } from './schema.ts';

/** Boards and pins: what may be wired to what. */
export function lintOutputs(notes: Notes): void {
  lintBoards(notes);
  const takenBy = new Map<string, string>();
  for (const use of pinUses(notes)) {
    const board = notes.find('boards', use.board, use.boardPath);
    if (notes.given.broken(use.path) || notes.given.broken(use.boardPath)) continue;
    const place = `${physicalPlace(use.board, board)} ${use.pin}`;
    const other = takenBy.get(place);
    if (other !== undefined)
      notes.error(use.path, `pin ${use.pin} is taken by ${other}`, 'give each its own pin');
    else takenBy.set(place, use.owner);
    if (board) lintPin(notes, use, board);
  }
  lintFlicker(notes);
}

interface PinUse {
  board: string;
  pin: number;
  path: Path;
  boardPath: Path;
  /** Who uses the pin, for messages. */
  owner: string;
  /** What is wired to a pin that is read; all others are driven. */
  input?: string;
  relay?: RelayChannel;
  /** The board whose outputs it enables, when low. */
  enables?: string;
  /** What the output must be able to do beside two levels. */
  needs?: 'pulses' | 'PWM';
  /** The shortest and the longest pulse sent there (us), and where the file says so. */
  pulses?: { us: readonly [number, number]; path: Path };
}

function* pinUses({ prop, given }: Notes): Generator<PinUse> {
  if (prop.stopInput) {
    const { board, pin } = prop.stopInput;
    const [path, boardPath] = [
      ['stopInput', 'pin'],
      ['stopInput', 'board'],
    ];
    yield { board, pin, path, boardPath, owner: 'stopInput', input: 'the stop button' };
  }
  if (prop.lockoutInput) {
    const { board, pin } = prop.lockoutInput;
    const [path, boardPath] = [
      ['lockoutInput', 'pin'],
      ['lockoutInput', 'board'],
    ];
    yield { board, pin, path, boardPath, owner: 'lockoutInput', input: 'the key switch' };
  }
  for (const [name, { board, pin }] of Object.entries(prop.guards)) {
    const [path, boardPath] = [
      ['guards', name, 'pin'],
      ['guards', name, 'board'],
    ];
    yield { board, pin, path, boardPath, owner: `guard ${name}`, input: 'the contact' };
  }
  for (const [name, channel] of Object.entries(prop.channels)) {
    const at = ['channels', name, 'output'];
    const boardPath = [...at, 'board'];
    const { board } = channel.output;
    const { needs, outputs } = kindOf(channel);
    const [relay, servo] = [relayOf(channel), servoOf(channel)];
    for (const { pin, at: place, colour } of outputs(channel)) {
      const owner = colour ? `${name}.${colour}` : name;
      const use: PinUse = { board, pin, path: [...at, ...place], boardPath, owner };
      if (needs) use.needs = needs;
      if (relay && !given.broken([...at, 'activeLow'])) use.relay = relay;
      if (servo) {
        const from = servo.envelopeUs ? 'envelopeUs' : 'calibration';
        const path = ['channels', name, from];
        const us = servo.envelopeUs ?? servo.calibration.map(([us]) => us);
        if (!given.broken(path)) use.pulses = { us: [Math.min(...us), Math.max(...us)], path };
      }
      yield use;
    }
  }
  for (const [name, board] of Object.entries(prop.boards)) {
    if (board.driver !== 'pca9685' || !board.enable) continue;
    const at = ['boards', name, 'enable'];
    const [path, boardPath] = [
      [...at, 'pin'],
      [...at, 'board'],
    ];
    const owner = `the output-enable pin of board ${name}`;
    yield { ...board.enable, path, boardPath, owner, enables: name };
  }
  for (const [name, { input }] of Object.entries(prop.triggers)) {
    if (!input) continue;
    const at = ['triggers', name, 'input'];
    const [path, boardPath] = [
      [...at, 'pin'],
      [...at, 'board'],
    ];
    const { board, pin } = input;
    const owner = `trigger ${name}`;
    yield { board, pin, path, boardPath, owner, input: 'the contact' };
  }
}

/** Boards that share pins in the real world have the same place. */
function physicalPlace(name: string, board: Board | undefined): string {
  return board?.driver === 'pigpio' || board?.driver === 'linux' ? 'header' : `board ${name}`;
}

function lintBoards(notes: Notes): void {
  const chips = new Map<string, string>();
  for (const [name, board] of Object.entries(notes.prop.boards)) {
    if (board.driver === 'pca9685') {
      const address = `0x${board.address.toString(16)}`;
      const chip = `${board.bus} ${address}`;
      const other = chips.get(chip);
      if (other !== undefined)
        notes.error(
          ['boards', name, 'address'],
          `address ${address} on bus ${board.bus} is board ${other} already`,
          'set another address with the solder pads and give it here',
        );
      else chips.set(chip, name);
    }
    if (board.driver === 'sim') {
      for (const [servo, plant] of Object.entries(board.plant ?? {})) {
        const path = ['boards', name, 'plant', servo];
        const channel = notes.find('channels', servo, path, true);
        if (channel && !servoOf(channel))
          notes.keyError(path, `${servo} is a ${channel.kind}`, 'describe servos only');
        const stops = plant.stopsDeg;
        if (stops && stops[0] >= stops[1])
          notes.error(
            [...path, 'stopsDeg'],
            `the low stop ${stops[0]} deg is not below the high stop ${stops[1]} deg`,
            'give the lower one first',
          );
      }
    }
  }
}

const PCA9685_OUTPUTS = 16;

function lintPin(notes: Notes, use: PinUse, board: Board): void {
  const { pin, path, relay } = use;
  if (board.driver === 'pca9685') {
    if (use.input) {
      const right = `wire ${use.input} to a pin of the header`;
      notes.error(use.boardPath, 'a pca9685 has no inputs', right);
      return;
    }
    if (use.enables !== undefined) {
      const wrong = 'a pca9685 cannot enable another: both may be on the bus that fails';
      notes.error(use.boardPath, wrong, 'wire the output-enable pin to a pin of the header');
      return;
    }
    if (pin >= PCA9685_OUTPUTS)
      notes.error(path, `a pca9685 has no output ${pin}`, `use 0 to ${PCA9685_OUTPUTS - 1}`);
    const longestUs = use.pulses?.us[1];
    if (longestUs !== undefined && longestUs >= 1e6 / board.frequencyHz)
      notes.error(
        path,
        `a pulse of ${longestUs} us does not fit in a period at ${board.frequencyHz} Hz`,
        `lower frequencyHz of board ${use.board}; servos commonly take 50`,
      );
    if (relay) lintRelayOnChip(notes, use, relay, board);
    return;
  }
  if (pin >= HEADER_PINS) {
    notes.error(path, `the header has no GPIO ${pin}`, `use 0 to ${HEADER_PINS - 1}`);
    return;
  }
  switch (reservedFor(pin)) {
    case 'ID EEPROM':
      notes.error(path, `GPIO ${pin} is kept for the ID EEPROM`, 'use another pin');
      return;
    case 'I2C': {
      const chip = Object.entries(notes.prop.boards).find(([, b]) => b.driver === 'pca9685');
      if (chip)
        notes.error(path, `GPIO ${pin} is the I2C bus of board ${chip[0]}`, 'use another pin');
      else
        notes.warning(
          path,
          `GPIO ${pin} is the I2C bus and has a fixed pull-up resistor`,
          'use another pin, so that an I2C board can be added',
        );
      break;
    }
    case 'serial console':
      notes.warning(
        path,
        `GPIO ${pin} is the serial console, which talks on it while the computer boots`,
        'use another pin, or switch the console off',
      );
  }
  if (relay) lintPull(notes, use, relay, board);
  if (use.enables !== undefined && powerOnPull(pin) === 'down')
    notes.warning(
      path,
      `GPIO ${pin} is pulled down, and a low level enables the outputs of board ${use.enables}: they are not cut while no daemon runs`,
      'use a pin of GPIO 0-8, or fit an external pull-up resistor',
    );
  if (board.driver === 'linux') lintPwmPin(notes, use, board);
  if (board.driver === 'pigpio') lintServoPulses(notes, use);
}

/** Where the overlays of the common boards bring hardware PWM out (from memory). */
const PWM_PINS = [12, 13, 18, 19];

function lintPwmPin(
  notes: Notes,
  { pin, path, needs }: PinUse,
  { pwmPins }: Extract<Board, { driver: 'linux' }>,
): void {
  const pins = pwmPins ? Object.keys(pwmPins).map(Number) : PWM_PINS;
  if (!needs || pins.includes(pin)) return;
  const names = pins.map((one) => `GPIO ${one}`).join(', ') || 'a pin that pwmPins gives a channel';
  notes.error(
    path,
    `GPIO ${pin} has no hardware PWM, and a linux board makes ${needs} with nothing else`,
    `use ${names}, or put it on a pca9685 board`,
  );
}

/** The pulses that the library's gpioServo takes (us). (from memory) */
const PIGPIO_PULSES_US = [500, 2500] as const;

function lintServoPulses(notes: Notes, { pulses }: PinUse): void {
  if (!pulses) return;
  const [low, high] = PIGPIO_PULSES_US;
  for (const us of pulses.us)
    if (us < low || us > high)
      notes.error(
        pulses.path,
        `pigpio cannot send a pulse of ${us} us`,
        `stay within ${low} and ${high}, or put this servo on another board`,
      );
}

/**
 * A relay must not close by itself between power-on and the start of the daemon, nor after its end: the
 * kernel makes a line an input when the process that has it ends, however it ends.
 */
function lintPull(notes: Notes, { pin, path }: PinUse, relay: RelayChannel, board: Board): void {
  const pull = powerOnPull(pin);
  const closed = relay.safe === 'on';
  const released = relay.output.activeLow !== closed ? 'high' : 'low';
  if ((pull === 'up') === (released === 'high')) return;
  notes.warning(
    path,
    `GPIO ${pin} is pulled ${pull} from power-on, but this relay is ${closed ? 'kept closed' : 'released'} by a ${released} level: ` +
      `it may ${closed ? 'open' : 'close'} until the daemon runs` +
      (board.driver === 'linux'
        ? ', and again when the daemon has ended, even where it was killed'
        : ''),
    `use a pin of GPIO ${released === 'high' ? '0-8' : '9-27'}, or fit an external pull-${released === 'high' ? 'up' : 'down'} resistor`,
  );
}

function lintRelayOnChip(
  notes: Notes,
  { path }: PinUse,
  relay: RelayChannel,
  board: Extract<Board, { driver: 'pca9685' }>,
): void {
  if (board.enable) {
    if (relay.output.activeLow)
      notes.warning(
        path,
        'while the output-enable pin cuts the chip its outputs float, and this relay is released by a high level',
        'fit an external pull-up resistor there',
      );
    return;
  }
  const closes = relay.output.activeLow
    ? 'the outputs of a pca9685 are low from power-on, so this relay may close until the daemon runs'
    : 'a pca9685 keeps its outputs as they are when its bus fails, a closed relay included';
  notes.warning(
    path,
    closes,
    'use a pin of the header for a relay, or wire the output-enable pin of the chip (enable:)',
  );
}

/**
 * Slower light is seen to flicker, and light that goes on and off some 3 to 60 times a second can set
 * off seizures (IEEE 1789-2015, from memory); a flash guard sees the levels that are asked for, not
 * the PWM that makes them.
 */
const LEAST_LIGHT_HZ = 100;

/** All outputs of a pca9685 share one frequency, and servos want a low one. */
function lintFlicker(notes: Notes): void {
  const { boards, channels } = notes.prop;
  for (const [name, channel] of Object.entries(channels)) {
    const { light } = kindOf(channel);
    if (!light?.flicker) continue;
    const accepted = light.flicker(channel);
    const at = ['channels', name];
    const board = boards[channel.output.board];
    const hz = board && lightHz(board);
    if (hz === undefined || notes.given.broken(['boards', channel.output.board, 'frequencyHz']))
      continue;
    if (accepted && hz >= LEAST_LIGHT_HZ)
      notes.warning(
        [...at, 'flicker'],
        `${name} has PWM of ${hz} Hz: there is no flicker to accept`,
        'remove it',
      );
    if (accepted || notes.given.broken([...at, 'flicker']) || hz >= LEAST_LIGHT_HZ) continue;
    notes.error(
      [...at, 'output', 'board'],
      `at the ${hz} Hz of board ${channel.output.board} this light flickers, which can set off seizures`,
      'put lights on a pca9685 of their own, with frequencyHz: 1000, or say why it may flicker: flicker: { accepted: true, reason: ... }',
    );
  }
}

/** The PWM frequency of lights on a board (Hz); undefined where nothing lights up. */
function lightHz(board: Board): number | undefined {
  if (board.driver === 'pca9685') return board.frequencyHz;
  if (board.driver === 'pigpio') return PIGPIO_LIGHT_HZ_US / board.sampleUs;
  if (board.driver === 'linux') return LINUX_LIGHT_HZ;
  return undefined;
}

/** As the drivers set them: 1000 steps of a sample period (pigpio), and a period of 0.8 ms (linux). */
const PIGPIO_LIGHT_HZ_US = 1000;
const LINUX_LIGHT_HZ = 1250;
