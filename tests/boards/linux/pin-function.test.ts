import { mkdirSync, mkdtempSync, rmSync, symlinkSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterEach, beforeEach, describe, expect, test } from 'vitest';
import {
  checkPwmPins,
  pwmPinProblem,
  pwmPins,
  switchedPins,
} from '../../../src/boards/linux/pin-function.ts';

/** Cells as a device tree stores them: Devicetree Specification, 2.2.4. */
function cells(...numbers: number[]): Buffer {
  const buffer = Buffer.alloc(4 * numbers.length);
  for (const [i, number] of numbers.entries()) buffer.writeUInt32BE(number, 4 * i);
  return buffer;
}

describe('the pins of a node', () => {
  test.each([
    // As Debian's bcm2837-rpi-3-b.dtb has them (its kernel 6.1).
    ['pwm0_gpio40', { 'brcm,pins': cells(40), 'brcm,function': cells(4) }, [40]],
    ['pwm0_gpio18', { 'brcm,pins': cells(18), 'brcm,function': cells(2) }, [18]],
    ['gpioout', { 'brcm,pins': cells(6), 'brcm,function': cells(1) }, []],
    // brcm,bcm2835-gpio.txt: one function for all, or one for each.
    ['two pins, one function', { 'brcm,pins': cells(12, 13), 'brcm,function': cells(4) }, [12, 13]],
    ['two and two', { 'brcm,pins': cells(12, 18), 'brcm,function': cells(4, 0) }, [12]],
    // pinmux-node.yaml, with the names that the newest boards use (from memory).
    ['names', { pins: Buffer.from('gpio12\0gpio13\0'), function: Buffer.from('pwm0\0') }, [12, 13]],
    [
      'names of another function',
      { pins: Buffer.from('gpio14\0'), function: Buffer.from('uart0\0') },
      [],
    ],
    ['none', {}, []],
  ])('%s', (_, node, pins) => {
    expect([...switchedPins([node])]).toEqual(pins);
  });
});

describe('the pins of a PWM chip', () => {
  let root: string;
  let chip: string;
  beforeEach(() => {
    root = mkdtempSync(join(tmpdir(), 'sinew-tree-'));
    chip = join(root, 'class/pwm/pwmchip0');
  });
  afterEach(() => rmSync(root, { recursive: true }));

  const node = (path: string, properties: Record<string, Buffer>) => {
    const folder = join(root, 'firmware/devicetree/base', path);
    mkdirSync(folder, { recursive: true });
    for (const [name, value] of Object.entries(properties))
      writeFileSync(join(folder, name), value);
    return folder;
  };
  const attach = (folder: string) => {
    mkdirSync(join(chip, 'device'), { recursive: true });
    symlinkSync(folder, join(chip, 'device/of_node'));
  };

  function board(...phandles: number[]): void {
    const gpio = 'soc/gpio@7e200000';
    node(`${gpio}/pwm0_gpio12`, {
      'brcm,pins': cells(12),
      'brcm,function': cells(4),
      phandle: cells(0x212),
    });
    node(`${gpio}/pwm0_gpio40`, {
      'brcm,pins': cells(40),
      'brcm,function': cells(4),
      phandle: cells(0x11),
    });
    node(`${gpio}/pwm1_gpio41`, {
      'brcm,pins': cells(41),
      'brcm,function': cells(4),
      phandle: cells(0x12),
    });
    attach(node('soc/pwm@7e20c000', { 'pinctrl-0': cells(...phandles) }));
  }

  test('are those that its pinctrl-0 leads to', async () => {
    board(0x11, 0x12);
    expect([...(await pwmPins(chip))!].toSorted()).toEqual([40, 41]);
    await expect(checkPwmPins(chip, [{ name: 'jaw', pin: 12 }])).rejects.toThrow(
      /^the PWM does not come out at GPIO 12 \(jaw\): the device tree switches it to GPIO 4[01] and GPIO 4[01]; put dtoverlay=pwm,pin=12,func=4 into/,
    );
  });

  test('may be those of the header', async () => {
    board(0x212);
    expect([...(await pwmPins(chip))!]).toEqual([12]);
    await checkPwmPins(chip, [{ name: 'jaw', pin: 12 }]);
  });

  test('that nobody tells are no trouble: no tree, no pinctrl-0, pins of an unknown kind', async () => {
    expect(await pwmPins(chip)).toBeUndefined();
    attach(node('soc/pwm@7e20c000', {}));
    expect(await pwmPins(chip)).toBeUndefined();
    node('soc/pwm@7e20c000', { 'pinctrl-0': cells(0x99) });
    node('soc/other', { phandle: cells(0x99) });
    expect(await pwmPins(chip)).toBeUndefined();
    await checkPwmPins(chip, [{ name: 'jaw', pin: 12 }]);
  });
});

test('the remedy has all pins that are needed', () => {
  const outputs = [
    { name: 'wing', pin: 19 },
    { name: 'jaw', pin: 12 },
  ];
  const { text, remedy } = pwmPinProblem(new Set([12]), outputs)!;
  expect(text).toMatch(/GPIO 19 \(wing\)/);
  expect(text).not.toMatch(/jaw/);
  expect(remedy).toMatch(/dtoverlay=pwm-2chan,pin=12,func=4,pin2=19,func2=2 /);
  expect(pwmPinProblem(new Set([12, 19]), outputs)).toBeUndefined();
  expect(pwmPinProblem(undefined, outputs)).toBeUndefined();
});
