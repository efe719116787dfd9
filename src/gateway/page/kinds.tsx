import type { ChannelInfo } from '../../api/types.ts';
import { Dimmer } from './bench-others.tsx';
import { ServoView } from './bench-servo.tsx';
import { ColourBench, ColourControl } from './colour.tsx';
import { KIND_WORDS } from './kind-words.ts';
import { MeasureLight } from './measure-light.tsx';
import { MeasureRelay } from './measure-relay.tsx';
import { TravelBar } from './overview-controls.tsx';
import { LampControls, Swatch } from './overview-light.tsx';
import { SERVO_ROW } from './overview-servo-row.tsx';
import type { PageKind } from './page-kind.ts';
import { RelayBench, RelayControls } from './relay.tsx';
import { NoMeasure, SoundBench, SoundControls } from './sound.tsx';

/** Every kind of channel, in the order in which they are listed. To add one touches this file and its words. */
export const KINDS: Record<ChannelInfo['kind'], PageKind> = {
  servo: {
    ...KIND_WORDS.servo,
    Controls: TravelBar,
    row: SERVO_ROW,
    bench: { View: ServoView },
  },
  relay: {
    ...KIND_WORDS.relay,
    Controls: RelayControls,
    bench: { Control: RelayBench, Measure: MeasureRelay },
  },
  lamp: {
    ...KIND_WORDS.lamp,
    Controls: LampControls,
    bench: { Control: Dimmer, Measure: MeasureLight },
  },
  rgb: {
    ...KIND_WORDS.rgb,
    Swatch,
    Controls: ColourControl,
    bench: { Control: ColourBench, Measure: MeasureLight },
  },
  sound: {
    ...KIND_WORDS.sound,
    Controls: SoundControls,
    bench: { Control: SoundBench, Measure: NoMeasure },
  },
};
