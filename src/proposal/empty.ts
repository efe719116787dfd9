import { DRIVER_NAMES, setUpOf } from '../boards/registry.ts';
import { flow } from '../prop/edit-text.ts';

/** The prop file of somebody who has none yet: valid, and with nothing in it that moves. */
export function emptyPropText(): string {
  // The first computer is the one without hardware.
  const computer = setUpOf(DRIVER_NAMES.find((driver) => setUpOf(driver).header)!);
  return [
    '# An empty prop. On the page, Set-up, New prop, proposes what belongs here.',
    'sinew: 1',
    'name: New prop',
    `boards: { main: ${flow(computer.entry(0, 'PWM'))} }`,
    'channels: {}',
    '# The three dots end the file: without them, it was cut off.',
    '...',
    '',
  ].join('\n');
}
