import type { BoardFacts, BoardNotes, PinUse, Power } from './facts.ts';
import {
  HEADER_ELECTRICS,
  HEADER_LAYOUT,
  HEADER_PINS,
  powerOnPull,
  reservedFor,
} from './header.ts';

/** The facts that all boards with the 40-pin header share. */
export const ON_HEADER = {
  header: true,
  pins: HEADER_PINS,
  word: 'GPIO',
  reservedFor,
  electrics: () => HEADER_ELECTRICS,
  at(cavity) {
    const place = HEADER_LAYOUT[cavity - 1];
    return place && ('gpio' in place ? { pin: place.gpio } : place);
  },
  cavityOf(pin) {
    const at = HEADER_LAYOUT.findIndex((place) => 'gpio' in place && place.gpio === pin);
    return at < 0 ? undefined : at + 1;
  },
  power: { '3.3 V': powerPins('3.3 V'), '5 V': powerPins('5 V'), ground: powerPins('ground') },
} as const satisfies Partial<BoardFacts<never>>;

function powerPins(power: Power): number[] {
  return HEADER_LAYOUT.flatMap((place, i) =>
    'power' in place && place.power === power ? [i + 1] : [],
  );
}

/**
 * Reports what is wrong with a use of a GPIO of the header. Returns false where the pin cannot be used at
 * all.
 * @param letsGo the kernel makes a line an input when the process that holds it ends
 */
export function lintHeaderPin(use: PinUse, notes: BoardNotes, freesLines = false): boolean {
  const { pin, path } = use;
  if (pin >= HEADER_PINS) {
    notes.error(path, `the header has no GPIO ${pin}`, `use 0 to ${HEADER_PINS - 1}`);
    return false;
  }
  switch (reservedFor(pin)) {
    case 'ID EEPROM':
      notes.error(path, `GPIO ${pin} is kept for the ID EEPROM`, 'use another pin');
      return false;
    case 'I2C': {
      const chip = notes.userOf('I2C');
      if (chip !== undefined)
        notes.error(path, `GPIO ${pin} is the I2C bus of board ${chip}`, 'use another pin');
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
  if (use.relay) lintPull(notes, use, use.relay, freesLines);
  if (use.light) lintLightPull(notes, use, use.light);
  if (use.enables !== undefined && powerOnPull(pin) === 'down')
    notes.warning(
      path,
      `GPIO ${pin} is pulled down, and a low level enables the outputs of board ${use.enables}: they are not cut while no daemon runs`,
      'use a pin of GPIO 0-8, or fit an external pull-up resistor',
    );
  return true;
}

/** A relay must not close by itself before the daemon starts or after it ends. */
function lintPull(
  notes: BoardNotes,
  { pin, path }: PinUse,
  relay: NonNullable<PinUse['relay']>,
  freesLines: boolean,
): void {
  const closed = relay.safe === 'on';
  const released = relay.activeLow !== closed ? 'high' : 'low';
  const rests = restLevel(pin, relay.pull);
  if (rests.level === released) return;
  notes.warning(
    path,
    `${rests.why}, but this relay is ${closed ? 'kept closed' : 'released'} by a ${released} level: ` +
      `it may ${closed ? 'open' : 'close'} until the daemon runs` +
      (freesLines ? ', and again when the daemon has ended, even where it was killed' : ''),
    pullRemedy(released, relay.pull),
  );
}

/** The part that switches a light may be switched on by the pin's pull alone. */
function lintLightPull(
  notes: BoardNotes,
  { pin, path, owner }: PinUse,
  light: NonNullable<PinUse['light']>,
): void {
  const dark = light.activeLow ? 'high' : 'low';
  const rests = restLevel(pin, light.pull);
  if (rests.level === dark) return;
  notes.warning(
    path,
    `${rests.why}, and a ${rests.level} level lights ${owner}: it may be lit until the daemon runs, and after its end`,
    pullRemedy(dark, light.pull),
  );
}

/**
 * The level of a pin that nobody drives. A fitted resistor is stronger than the chip's own pull of about
 * 50 kohm.
 */
function restLevel(pin: number, fitted: 'up' | 'down' | undefined) {
  const pull = fitted ?? powerOnPull(pin);
  const why = fitted
    ? `a resistor pulls GPIO ${pin} ${pull}`
    : `GPIO ${pin} is pulled ${pull} from power-on`;
  return { level: pull === 'up' ? 'high' : 'low', why } as const;
}

function pullRemedy(wanted: 'high' | 'low', fitted: 'up' | 'down' | undefined): string {
  const pull = wanted === 'high' ? 'up' : 'down';
  if (fitted) return `fit it the other way, and write pull: ${pull}`;
  return `use a pin of GPIO ${wanted === 'high' ? '0-8' : '9-27'}, or fit an external pull-${pull} resistor of 10 kohm and write pull: ${pull} in its output`;
}
