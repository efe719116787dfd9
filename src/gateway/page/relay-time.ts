import { duration } from './show-order.ts';
import { nowS, stateOf } from './store.ts';

const left = (untilS: number) => duration(Math.ceil(untilS - nowS.value));

/** How long a relay still has to rest: `rests for 12 s more`; undefined while it need not. */
export function restText(channel: string): string | undefined {
  const { readyAtS } = stateOf(channel).value;
  return readyAtS === undefined ? undefined : `rests for ${left(readyAtS)} more`;
}

/** How long a relay stays on, or has to rest; empty where nothing bounds it. */
export function remainingText(channel: string): string {
  const { offAtS } = stateOf(channel).value;
  return offAtS === undefined ? (restText(channel) ?? '') : `on for ${left(offAtS)} more`;
}
