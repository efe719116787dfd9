import { type Measurable, type Measurement, measuredOf } from '../../shared/measured.ts';
import type { Channel } from './channel.ts';
import { kindOf } from './registry.ts';

/** A measurement of a channel: when, and whether it still holds. */
interface Found {
  what: Measurable;
  date: string;
  /** What was measured is still what the file has. */
  holds: boolean;
}

/** The measurements that the file has of a channel. */
export function measurementsOf(channel: Channel): Found[] {
  const { measured = {} } = channel as { measured?: Partial<Record<Measurable, Measurement>> };
  const thing = kindOf(channel).measuredThing?.(channel) ?? channel;
  return (Object.entries(measured) as [Measurable, Measurement | undefined][]).flatMap(
    ([what, one]) =>
      one ? [{ what, date: one.date, holds: one.of === measuredOf(what, thing) }] : [],
  );
}

/** When each thing that can be measured of a channel was; null where it was not, or is another since. */
export function measuredInfo(channel: Channel): Partial<Record<Measurable, string | null>> {
  const dates = new Map(
    measurementsOf(channel).flatMap(({ what, date, holds }) => (holds ? [[what, date]] : [])),
  );
  return Object.fromEntries(
    kindOf(channel)
      .measurable(channel)
      .map((what) => [what, dates.get(what) ?? null]),
  );
}
