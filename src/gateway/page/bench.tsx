import './bench.css';
import { signal } from '@preact/signals';
import { useEffect } from 'preact/hooks';
import { OtherBench } from './bench-others.tsx';
import { KINDS } from './kinds.tsx';
import type { BenchPart, ChannelProps } from './page-kind.ts';
import { channels } from './store.ts';

/** `#bench/beak`, `#bench/beak/walk` for the guided walk, or `#bench/beak/measure`. */
interface Place {
  channel: string;
  part: BenchPart;
}
const place = signal(placeOf(location.hash));

function placeOf(hash: string): Place {
  const [view, channel = '', part] = hash.slice(1).split('/');
  if (view !== 'bench') return { channel: '', part: undefined };
  return { channel, part: part === 'walk' || part === 'measure' ? part : undefined };
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
  const channel = wanted || (names.find((name) => KINDS[all[name]!.kind].moves) ?? names[0]!);
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
      {!info && <p role="alert">There is no channel {channel} on this prop. Choose one above.</p>}
      {info && (
        <ChannelBench
          key={`${channel} ${info.kind}`}
          channel={channel}
          info={info}
          part={place.value.part}
        />
      )}
    </div>
  );
}

function ChannelBench({ channel, info, part }: ChannelProps & { part: BenchPart }) {
  const kind = KINDS[info.kind];
  if ('View' in kind.bench) return <kind.bench.View channel={channel} info={info} part={part} />;
  const { Control, Measure } = kind.bench;
  if (part === 'measure') return <Measure channel={channel} info={info} />;
  return <OtherBench channel={channel} info={info} kind={kind} Control={Control} />;
}
