import { useComputed } from '@preact/signals';
import type { FunctionComponent } from 'preact';
import { useId } from 'preact/hooks';
import type { ChannelState, VapourInfo } from '../../api/types.ts';
import { ampsText, Figure, flagText } from './bench-numbers.tsx';
import { Readiness } from './bench-ready.tsx';
import { measuredText, measurementsOf } from './measured.ts';
import { FlashCaution } from './overview-light.tsx';
import type { ChannelProps, PageKind } from './page-kind.ts';
import { ask, commanding, stateOf } from './store.ts';

interface Props extends ChannelProps {
  kind: PageKind;
  Control: FunctionComponent<ChannelProps>;
}

/** A channel without a view of its own at the bench: state, one control, identify. */
export function OtherBench({ channel, info, kind, Control }: Props) {
  const state = stateOf(channel);
  return (
    <div class="stack">
      <Readiness />
      <div class="sheets">
        <section class="sheet" aria-labelledby="other-state">
          <h2 id="other-state">{channel}</h2>
          <dl class="figures">
            <Figure label="Value" text={() => figureText(kind, state.value.value)} />
            <Figure label="Current" text={() => ampsText(state.value)} />
            <Figure label="State" text={() => flagText(state.value.flags, info.kind)} />
            <div>
              <dt>Wire</dt>
              <dd>{info.wire ?? 'not in the loom'}</dd>
            </div>
            {info.duty && (
              <div>
                <dt>Duty</dt>
                <dd>
                  on for {info.duty.maxOnS} s at most, then {info.duty.restS} s of rest
                </dd>
              </div>
            )}
            {info.vapour && (
              <div>
                <dt>Tank</dt>
                <dd>{tankText(info.vapour)}</dd>
              </div>
            )}
          </dl>
        </section>
        <section class="sheet" aria-labelledby="other-control">
          <h2 id="other-control">Try it</h2>
          {kind.lit && <FlashCaution />}
          <Control channel={channel} info={info} />
          <div class="row">
            <button
              type="button"
              disabled={!commanding.value}
              onClick={() => ask('channel.identify', { channel })}
            >
              Identify: {kind.identify}
            </button>
          </div>
        </section>
        {measurementsOf(info).length > 0 && (
          <section class="sheet" aria-labelledby="other-measure">
            <h2 id="other-measure">What can be measured</h2>
            <ul>
              {measurementsOf(info).map(({ what, label }) => (
                <li key={what}>
                  {label}: {measuredText(info, what)}
                </li>
              ))}
            </ul>
            <p class="row">
              <a class="button" href={`#bench/${channel}/measure`}>
                Measure it
              </a>
            </p>
          </section>
        )}
      </div>
    </div>
  );
}

function tankText({ tankMl, runTimeS, showTimeS }: VapourInfo): string {
  const minutes = (s: number) => `${Math.round(s / 60)} min`;
  const show = showTimeS === undefined ? '' : `, ${minutes(showTimeS)} with its rests`;
  return `${tankMl} ml last ${minutes(runTimeS)} of vapour${show}`;
}

function figureText(kind: PageKind, value: ChannelState['value']): string {
  return value === null ? 'unknown' : kind.figure(value);
}

/** The brightness of a lamp (%). */
export function Dimmer({ channel }: { channel: string }) {
  const id = useId();
  const state = stateOf(channel);
  const level = useComputed(() => Math.round((state.value.target as number) * 100));
  return (
    <div class="row">
      <label for={id}>Brightness (%)</label>
      <input
        id={id}
        type="range"
        min={0}
        max={100}
        step={1}
        value={level}
        disabled={!commanding.value}
        onChange={(event) =>
          ask('channel.dim', { channel, to: Number(event.currentTarget.value) / 100 })
        }
      />
    </div>
  );
}
