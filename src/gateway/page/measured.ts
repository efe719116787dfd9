import type { ChannelInfo } from '../../api/types.ts';
import {
  MEASURABLE,
  type Measurable,
  type MeasuredThing,
  measuredOf,
} from '../../shared/measured.ts';

/** What was measured on the prop itself, in the words of the page and as the prop file notes it. */

const LABELS: Record<Measurable, string> = {
  calibration: 'True angle',
  freeRunning: 'Current running free',
  contact: 'Click and contact',
  colours: 'Order of the colours',
  white: 'White balance',
  resistors: 'Resistors',
};

const dayText = new Intl.DateTimeFormat('en-GB', { dateStyle: 'medium', timeZone: 'UTC' });

/** `measured on 26 Nov 2026`, or `not measured`. */
export function measuredText(
  { measured }: Pick<ChannelInfo, 'measured'>,
  what: Measurable,
): string {
  const date = measured?.[what];
  if (!date) return 'not measured';
  const day = new Date(`${date}T00:00:00Z`);
  return `measured on ${Number.isNaN(day.getTime()) ? date : dayText.format(day)}`;
}

/** What can be measured of a channel. */
export function measurementsOf({
  measured = {},
}: Pick<ChannelInfo, 'measured'>): { what: Measurable; label: string }[] {
  return MEASURABLE.filter((what) => Object.hasOwn(measured, what)).map((what) => ({
    what,
    label: LABELS[what],
  }));
}

export interface Edit {
  path: (string | number)[];
  value: unknown;
}

/** The note in the prop file that a channel was measured, as `info` has it. */
export function measuredEdit(
  channel: string,
  what: Measurable,
  info: Omit<MeasuredThing, 'output'> & Pick<ChannelInfo, 'output'>,
  date: string,
): Edit {
  return {
    path: ['channels', channel, 'measured', what],
    value: { date, of: measuredOf(what, { ...info, output: info.output! }) },
  };
}

/** Today, as the prop file writes it: the day of whoever measures. */
export function today(now = new Date()): string {
  const two = (part: number) => String(part).padStart(2, '0');
  return `${now.getFullYear()}-${two(now.getMonth() + 1)}-${two(now.getDate())}`;
}
