import { useSignal } from '@preact/signals';
import { SensedParts } from './bench-by-hand.tsx';
import { CaptureRow, GoTo, MoreCaptures } from './bench-capture.tsx';
import { ServoFigures } from './bench-numbers.tsx';
import { Thumb } from './bench-pad.tsx';
import { browserKept } from './kept.ts';
import { MeasureServo } from './measure-servo.tsx';
import { measuredText } from './measured.ts';
import type { BenchPart, ChannelProps } from './page-kind.ts';
import { propName } from './store.ts';
import { Walk } from './walk.tsx';
import { load } from './walk-progress.ts';

/** A servo at the bench: its dial, keys and captures, or the guided walk. */
export function ServoView({ channel, info, part }: ChannelProps & { part: BenchPart }) {
  if (part === 'measure') return <MeasureServo channel={channel} info={info} />;
  return part === 'walk' ? (
    <Walk channel={channel} info={info} />
  ) : (
    <ServoBench channel={channel} info={info} />
  );
}

function ServoBench({ channel, info }: ChannelProps) {
  const say = useSignal('');
  const kept = load(browserKept, propName.value, channel);
  return (
    <div class="bench-servo">
      <Thumb
        channel={channel}
        info={info}
        say={say}
        hands="feel"
        capture={<CaptureRow channel={channel} info={info} say={say} />}
      />
      <ServoFigures channel={channel} info={info} />
      <section class="sheet" aria-labelledby="bench-go">
        <h2 id="bench-go">Go to a place</h2>
        <GoTo channel={channel} info={info} />
      </section>
      <section class="sheet" aria-labelledby="bench-capture">
        <h2 id="bench-capture">Park position</h2>
        <MoreCaptures channel={channel} info={info} />
      </section>
      <SensedParts channel={channel} info={info} />
      <section class="sheet" aria-labelledby="bench-walk">
        <h2 id="bench-walk">Guided walk</h2>
        <p>Finds both ends of a new servo, sets its limits, names its marks, and tries it.</p>
        <p class="row">
          <a class="button" href={`#bench/${channel}/walk`}>
            {kept && kept.step !== 'before' && kept.step !== 'done'
              ? 'Go on with the walk'
              : 'Start the walk'}
          </a>
        </p>
      </section>
      <section class="sheet" aria-labelledby="bench-measure">
        <h2 id="bench-measure">Measure it</h2>
        <p>
          Pulse against true angle, with a protractor or a phone:{' '}
          {measuredText(info, 'calibration')}. Both ends and its current by itself, while you hold a
          button.
        </p>
        <p class="row">
          <a class="button" href={`#bench/${channel}/measure`}>
            Measure it
          </a>
        </p>
      </section>
    </div>
  );
}
