import { describe, expect, test } from 'vitest';
import { type CavityEnd, endText, slotsOf } from '../../src/drawings/pins.ts';
import type { BoardInfo } from '../../src/prop/pins.ts';

const header = (some: Partial<BoardInfo['pins'][number]>[]): BoardInfo => ({
  driver: 'sim',
  header: true,
  pins: Array.from({ length: 28 }, (_, pin) => ({
    pin,
    ...some.find((one) => one.pin === pin),
  })),
});
const end: CavityEnd = {
  wire: { label: 'W07', channel: 'beak', cores: [] },
  core: { role: 'signal', colour: 'YE', from: 'J1-12', to: 'SV3-1' },
  other: 'SV3-1',
};

describe('the 40-pin header', () => {
  test('has its pins in the order of their numbers, whatever they are', () => {
    const slots = slotsOf(
      header([
        { pin: 18, use: 'beak' },
        { pin: 2, reserved: 'I2C' },
      ]),
    );
    expect(slots.map(({ number }) => number)).toEqual(Array.from({ length: 40 }, (_, i) => i + 1));
    // The header's pin-out, from memory: pin 1 is 3.3 V, pin 3 GPIO 2, pin 6 ground, pin 12 GPIO 18.
    expect(slots[0]).toMatchObject({ kind: 'power', text: '3.3 V' });
    expect(slots[2]).toMatchObject({ name: 'GPIO 2', kind: 'reserved', text: 'reserved: I2C' });
    expect(slots[5]).toMatchObject({ kind: 'ground', text: 'ground' });
    expect(slots[11]).toMatchObject({ name: 'GPIO 18', kind: 'used', text: 'beak' });
    expect(slots[6]).toMatchObject({ name: 'GPIO 4', kind: 'free', text: 'free' });
  });

  test('a use that the board reserves its pin from says so', () => {
    const [slot] = slotsOf(
      header([{ pin: 14, use: 'stopInput', reserved: 'serial console' }]),
    ).filter(({ use }) => use);
    expect(slot!.text).toBe('stop input (reserved: serial console)');
  });

  test('a pin with a wire is used, even if no channel claims it', () => {
    const slots = slotsOf(header([]), (number) => (number === 12 ? [end] : []));
    expect(slots[11]).toMatchObject({ kind: 'used', text: 'wired', ends: [end] });
    expect(endText(end, 'beak')).toBe('W07  beak, signal → SV3-1');
    expect(endText(end, '')).toBe('W07  signal → SV3-1');
  });
});
