import { FIELD, FLAG, type Telemetry, WEAR_FIELD } from '../shared/telemetry.ts';
import type { Body } from './body.ts';

/**
 * Counts in every tick what wears each channel, in the memory that the service reads: exact, for the
 * shortest closure and move, and nothing is allocated. After `publish`, and before it is committed.
 */
export function countWear(telemetry: Telemetry, { channels, dtS }: Body): void {
  const { numbers } = telemetry;
  for (let i = 0; i < channels.length; i++) {
    const at = telemetry.channelAt(i);
    const value = numbers[at + FIELD.value]!;
    const flags = numbers[at + FIELD.flags]!;
    const before = numbers[at + WEAR_FIELD.value]!;
    const wasMoving = numbers[at + WEAR_FIELD.moving]!;
    const isFirst = numbers[at + WEAR_FIELD.seen] === 0;
    numbers[at + WEAR_FIELD.seen] = 1;
    numbers[at + WEAR_FIELD.value] = value;
    switch (channels[i]!.valueType) {
      case 'deg': {
        const isMoving = (flags & FLAG.moving) !== 0 ? 1 : 0;
        numbers[at + WEAR_FIELD.moving] = isMoving;
        if ((flags & FLAG.released) === 0) numbers[at + WEAR_FIELD.onS]! += dtS;
        if ((flags & FLAG.pushing) !== 0) numbers[at + WEAR_FIELD.pushingS]! += dtS;
        // A position that is set without a move, as after a wake, is no travel.
        if (isFirst || (isMoving === 0 && wasMoving === 0)) break;
        if (isMoving > wasMoving) numbers[at + WEAR_FIELD.starts]! += 1;
        const wayDeg = value - before;
        if (wayDeg === 0) break;
        numbers[at + WEAR_FIELD.travelDeg]! += Math.abs(wayDeg);
        const way = wayDeg > 0 ? 1 : -1;
        const last = numbers[at + WEAR_FIELD.way]!;
        // There and back is one cycle: two turns.
        if (last !== 0 && last !== way) numbers[at + WEAR_FIELD.cycles]! += 0.5;
        numbers[at + WEAR_FIELD.way] = way;
        break;
      }
      case 'on':
        if (value !== 0) numbers[at + WEAR_FIELD.onS]! += dtS;
        if (!isFirst && value !== 0 && before === 0) numbers[at + WEAR_FIELD.closures]! += 1;
        break;
      default: {
        // Here, and not in a function: a call that V8 does not inline would put its numbers on the heap.
        let level = value;
        if (channels[i]!.valueType === 'colour')
          for (let part = 1; part < 3; part++)
            level = Math.max(level, numbers[at + FIELD.value + part]!);
        if (level <= 0) break;
        numbers[at + WEAR_FIELD.onS]! += dtS;
        numbers[at + WEAR_FIELD.lightS]! += level * dtS;
      }
    }
  }
}
