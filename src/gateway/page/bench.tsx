import './bench.css';
import { signal } from '@preact/signals';
import { useEffect } from 'preact/hooks';
import type { ChannelInfo } from '../../api/types.ts';
import { Captures, GoTo } from './bench-capture.tsx';
import { ServoPicture } from './bench-numbers.tsx';
import { OtherBench } from './bench-others.tsx';
import { Pad } from './bench-pad.tsx';
import { KINDS } from './kinds.ts';
import { channels, condition, holder, holding, propName } from './store.ts';
import { Walk } from './walk.tsx';
import { load } from './walk-progress.ts';

/** `#bench/beak`, or `#bench/beak/walk` for the guided walk. */
interface Place {
  channel: string;
  walk: boolean;
}
const place = signal(placeOf(location.hash));

function placeOf(hash: string): Place {
  const [view, channel = '', part] = hash.slice(1).split('/');
  return view === 'bench' ? { channel, walk: part === 'walk' } : { channel: '', walk: false };
}

/** What the maker uses while wiring and calibrating, with fingers near the mechanism. */
export function Bench() {
  useEffect(() => {
    const onHash = () => {
      const next = placeOf(location.hash);
      // The view's own link names no channel: it leads back to the one that was open.
      if (next.channel) place.value = next;
    };
    onHash();
    addEventListener('hashchange', onHash);
    return () => removeEventListener('hashchange', onHash);
  }, []);
  const all = channels.value;
  const names = Object.keys(all);
  if (names.length === 0) return <p>Reading the channels.</p>;
  const wanted = place.value.channel;
  const channel = wanted || (names.find((name) => all[name]!.kind === 'servo') ?? names[0]!);
  const info = Object.hasOwn(all, channel) ? all[channel] : undefined;
  return (
    <div class="bench">
      <div class="bench-top row">
        <label for="bench-channel">Channel</label>
        <select
          id="bench-channel"
          value={info ? channel : ''}
          onChange={(event) => {
            location.hash = `#bench/${event.currentTarget.value}`;
          }}
        >
          {!info && <option value="">choose one</option>}
          {Object.entries(KINDS).map(([kind, { title }]) => {
            const some = names.filter((name) => all[name]!.kind === kind);
            return (
              some.length > 0 && (
                <optgroup key={kind} label={title}>
                  {some.map((name) => (
                    <option key={name} value={name}>
                      {name}
                    </option>
                  ))}
                </optgroup>
              )
            );
          })}
        </select>
      </div>
      <Readiness />
      {!info && <p role="alert">There is no channel {channel} on this prop. Choose one above.</p>}
      {info?.kind === 'servo' &&
        (place.value.walk ? (
          <Walk key={channel} channel={channel} info={info} />
        ) : (
          <ServoBench key={channel} channel={channel} info={info} />
        ))}
      {info && info.kind !== 'servo' && (
        <OtherBench key={`${channel} ${info.kind}`} channel={channel} info={info} />
      )}
    </div>
  );
}

/** Says what is missing before anything can move from here; its buttons are in the frame. */
function Readiness() {
  if (!holding.value)
    return (
      <p class="ready">
        {holder.value
          ? `${holder.value} has control: you can only look on.`
          : 'To move anything, take control at the top of the page.'}
      </p>
    );
  if (condition.value === 'live') return null;
  return (
    <p class="ready">
      The prop is {condition.value}.
      {condition.value === 'parked' &&
        ' Waking moves it: hands off, then press Wake at the bottom of the page.'}
    </p>
  );
}

function ServoBench({ channel, info }: { channel: string; info: ChannelInfo }) {
  const kept = load(localStorage, propName.value, channel);
  return (
    <div class="sheets bench-servo">
      <section class="sheet" aria-labelledby="bench-dial">
        <h2 id="bench-dial">{channel}</h2>
        <ServoPicture channel={channel} info={info} />
        <p class="hint">Wire {info.wire ?? 'not in the loom'}.</p>
      </section>
      <section class="sheet" aria-labelledby="bench-hand">
        <h2 id="bench-hand">By hand</h2>
        <Pad channel={channel} info={info} feel />
      </section>
      <div class="stack">
        <section class="sheet" aria-labelledby="bench-go">
          <h2 id="bench-go">Go to a place</h2>
          <GoTo channel={channel} info={info} />
        </section>
        <section class="sheet" aria-labelledby="bench-capture">
          <h2 id="bench-capture">Capture</h2>
          <Captures channel={channel} info={info} />
        </section>
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
      </div>
    </div>
  );
}
