import { tidy } from '../../shared/units.ts';
import { recordOf } from './cues-model.ts';

/** How a servo follows a sound, and what the prop file has of it. Pure. */

export interface How {
  /** Deg, or a mark. */
  shut: number | string;
  open: number | string;
  floorLufs: number;
  rangeLu: number;
  attackS: number;
  releaseS: number;
}

/** What suits most voices. */
const USUAL = { floorLufs: -50, rangeLu: 25, attackS: 0.03, releaseS: 0.1 };

/** What is known of a servo. */
interface ServoInfo {
  marks?: Readonly<Record<string, number>> | undefined;
  limitsDeg?: readonly number[] | undefined;
}

type Data = Readonly<Record<string, unknown>>;

/** How a servo follows a sound by the file, and the take that was made of it; undefined where it has nothing of it. */
function inFile(data: Data, sound: string, servo: string) {
  const entry = recordOf(recordOf(data.sounds)[sound]);
  const follow = recordOf(entry.follow);
  if (!Object.hasOwn(follow, servo)) return undefined;
  const { take = `${sound}_${servo}`.slice(0, 60), digest: _, ...kept } = recordOf(follow[servo]);
  return { take: String(take), kept: kept as Partial<How> };
}

/** How a servo follows a sound: as the file has it, otherwise what suits most voices. */
export function howOf(data: Data, sound: string, servo: string, info: ServoInfo = {}): How {
  const marks = Object.keys(info.marks ?? {});
  const [low = 0, high = 0] = info.limitsDeg ?? [];
  return {
    shut: marks.find((mark) => mark === 'shut') ?? tidy(low, 1),
    open: marks.find((mark) => mark === 'open') ?? tidy(high, 1),
    ...USUAL,
    ...inFile(data, sound, servo)?.kept,
  };
}

/**
 * The take in which a servo follows a sound, where the file has one.
 * @returns `isSame`: it was made as `how` says
 */
export function madeOf(
  data: Data,
  sound: string,
  servo: string,
  how: How,
): { take: string; isSame: boolean } | undefined {
  const found = inFile(data, sound, servo);
  if (!found || !Object.hasOwn(recordOf(data.takes), found.take)) return undefined;
  const { take, kept } = found;
  const isSame = Object.entries(how).every(([key, value]) => kept[key as keyof How] === value);
  return { take, isSame };
}
