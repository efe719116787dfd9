import { readdir, readFile, realpath } from 'node:fs/promises';
import { join } from 'node:path';
import { Refusal } from '../../shared/errors.ts';

/**
 * The device tree decides which pins carry the outputs of a PWM chip. A chip that is not switched to a
 * pin still runs, but nothing moves. Every user can read the tree in sysfs (the kernel's
 * Documentation/ABI/testing/sysfs-firmware-ofw). A device's `pinctrl-0` names the nodes of its pins by
 * their phandles (bindings/pinctrl/pinctrl-bindings.txt).
 */

/** A node of a device tree with pins: its properties, as stored. */
interface PinNode {
  /** Cells of brcm,pins and brcm,function: bindings/pinctrl/brcm,bcm2835-gpio.txt. */
  'brcm,pins'?: Buffer | undefined;
  'brcm,function'?: Buffer | undefined;
  /** Names, on newer controllers: bindings/pinctrl/pinmux-node.yaml. */
  pins?: Buffer | undefined;
  function?: Buffer | undefined;
}

/** brcm,function of a plain GPIO. */
const INPUT = 0;
const OUTPUT = 1;

/** Device tree cells: 32 bits each, big-endian (Devicetree Specification, 2.2.4). */
function cells(property: Buffer): number[] {
  return Array.from({ length: property.length >> 2 }, (_, i) => property.readUInt32BE(4 * i));
}

const strings = (property: Buffer) => property.toString('latin1').split('\0').filter(Boolean);

/** The pins that the nodes in a PWM's `pinctrl-0` switch to it. */
export function switchedPins(nodes: readonly PinNode[]): Set<number> {
  const found = new Set<number>();
  for (const node of nodes) {
    const functions = node['brcm,function'] ? cells(node['brcm,function']) : [];
    for (const [i, pin] of (node['brcm,pins'] ? cells(node['brcm,pins']) : []).entries()) {
      // One function for all pins, or one for each.
      const code = functions[functions.length === 1 ? 0 : i];
      if (code !== undefined && code !== INPUT && code !== OUTPUT) found.add(pin);
    }
    if (!node.function || !node.pins || !strings(node.function)[0]?.startsWith('pwm')) continue;
    for (const name of strings(node.pins)) {
      const pin = /^gpio(\d+)$/.exec(name)?.[1];
      if (pin) found.add(Number(pin));
    }
  }
  return found;
}

/**
 * The pins that carry the outputs of a PWM chip; undefined where the device tree does not say.
 * @param chip its folder, for example /sys/class/pwm/pwmchip0
 */
export async function pwmPins(chip: string): Promise<Set<number> | undefined> {
  let device: string;
  let wanted: Set<number>;
  try {
    device = await realpath(join(chip, 'device/of_node'));
    wanted = new Set(cells(await readFile(join(device, 'pinctrl-0'))));
  } catch {
    return undefined;
  }
  const base = /^.*\/devicetree\/base(?=\/)/.exec(device)?.[0];
  if (!base) return undefined;
  const nodes: PinNode[] = [];
  for (const folder of await withPhandles(base, wanted)) {
    const node: PinNode = {};
    for (const name of ['brcm,pins', 'brcm,function', 'pins', 'function'] as const)
      node[name] = await property(folder, name);
    nodes.push(node);
    // A newer controller may list the pins one level below.
    for (const below of await folders(folder))
      nodes.push({
        pins: await property(below, 'pins'),
        function: await property(below, 'function'),
      });
  }
  const pins = switchedPins(nodes);
  return pins.size > 0 ? pins : undefined;
}

const property = (folder: string, name: string) =>
  readFile(join(folder, name)).catch(() => undefined);

async function folders(folder: string): Promise<string[]> {
  const entries = await readdir(folder, { withFileTypes: true }).catch(() => []);
  return entries.filter((entry) => entry.isDirectory()).map(({ name }) => join(folder, name));
}

/** The nodes below `base` that have these phandles. */
async function withPhandles(base: string, wanted: ReadonlySet<number>): Promise<string[]> {
  const found: string[] = [];
  const ahead = [base];
  for (let folder = ahead.pop(); folder && found.length < wanted.size; folder = ahead.pop()) {
    const phandle = await property(folder, 'phandle');
    if (phandle && wanted.has(cells(phandle)[0]!)) found.push(folder);
    ahead.push(...(await folders(folder)));
  }
  return found;
}

/** brcm,function of the header's PWM pins: alternate function 0 is 4, and 5 is 2. */
const HEADER_FUNCTIONS: Record<number, number> = { 12: 4, 13: 4, 18: 2, 19: 2 };

/**
 * What is wrong, and what to do, when outputs need pins that the PWM is not switched to; undefined when
 * all is well or the pins are unknown.
 */
export function pwmPinProblem(
  pins: ReadonlySet<number> | undefined,
  outputs: readonly { name: string; pin: number }[],
): { text: string; remedy: string } | undefined {
  const astray = outputs.filter(({ pin }) => pins && !pins.has(pin));
  if (!pins || astray.length === 0) return undefined;
  const named = astray.map(({ name, pin }) => `GPIO ${pin} (${name})`).join(' and ');
  const there = [...pins].map((pin) => `GPIO ${pin}`).join(' and ');
  return {
    text: `the PWM does not come out at ${named}: the device tree switches it to ${there}`,
    remedy: `${overlay(outputs)}, then restart the board; or use a pin that it comes out at`,
  };
}

/** The overlay's parameters are from memory. */
function overlay(outputs: readonly { pin: number }[]): string {
  const [first, second] = [...new Set(outputs.map(({ pin }) => pin))].toSorted((a, b) => a - b);
  const pins = second === undefined ? [first!] : [first!, second];
  const words = pins.map((pin, i) => {
    const nth = i === 0 ? '' : i + 1;
    return `pin${nth}=${pin},func${nth}=${HEADER_FUNCTIONS[pin] ?? 4}`;
  });
  const name = pins.length > 1 ? 'pwm-2chan' : 'pwm';
  return `put dtoverlay=${name},${words.join(',')} into /boot/firmware/config.txt (plain Debian has no overlays: see "On the board" in the README)`;
}

/**
 * For a driver, before it claims a channel.
 * @param chip its folder, for example /sys/class/pwm/pwmchip0
 * @param outputs those that need its pulses
 * @throws Refusal when they would come out somewhere else
 */
export async function checkPwmPins(
  chip: string,
  outputs: readonly { name: string; pin: number }[],
): Promise<void> {
  const trouble = pwmPinProblem(await pwmPins(chip), outputs);
  if (trouble) throw new Refusal('driver.no-pin', `${trouble.text}; ${trouble.remedy}`);
}
