import { useComputed, useSignal } from '@preact/signals';
import { favourites } from './big-choices.ts';
import { useSeenState } from './in-view.ts';
import { KINDS } from './kinds.tsx';
import { CommandSet, Identify } from './overview-parts.tsx';
import type { ChannelProps } from './page-kind.ts';
import { refusedChannels } from './refused-channels.ts';
import { flagWords, valueText } from './value.tsx';

interface RowProps extends ChannelProps {
  /** It no longer is what the list was made of; it stays, so that nothing moves under a finger. */
  over?: boolean;
  onStar: (channel: string, button: HTMLElement) => void;
}

/**
 * A channel in one short row: star, name, state, value, travel. A tap opens its controls below it; on the
 * row itself a finger finds nothing that moves anything.
 */
export function Row({ channel, info, over = false, onStar }: RowProps) {
  const { ref, state } = useSeenState<HTMLLIElement>(channel);
  const open = useSignal(false);
  const { Swatch, row } = KINDS[info.kind];
  const value = useComputed(() => valueText(state.value, info.kind));
  const refused = useComputed(() => refusedChannels.value.has(channel));
  const flags = useComputed(() =>
    refused.value ? 'refused' : flagWords(state.value.flags, info.kind),
  );
  const flagsClass = useComputed(() => (refused.value ? 'brief-flags is-refused' : 'brief-flags'));
  const starred = favourites.made.value.has(channel);
  return (
    <li class={`brief ${open.value ? 'is-open' : ''} ${over ? 'is-over' : ''}`} ref={ref}>
      <div class="brief-line">
        <button
          type="button"
          class="star"
          aria-pressed={starred}
          aria-label={`Favourite ${channel}`}
          onClick={(event) => onStar(channel, event.currentTarget)}
        >
          <span aria-hidden="true">{starred ? '★' : '☆'}</span>
        </button>
        <button
          type="button"
          class="brief-open"
          title={channel}
          aria-expanded={open.value}
          onClick={() => {
            open.value = !open.value;
          }}
        >
          {channel}
        </button>
        <span class="brief-value number">{value}</span>
        <span class="brief-travel">
          {Swatch && <Swatch channel={channel} info={info} />}
          {row && <row.Track channel={channel} info={info} state={state} />}
        </span>
        <span class={flagsClass}>{flags}</span>
        <span class="brief-quick">{row && <row.Quick channel={channel} info={info} />}</span>
        <span class="brief-sign" aria-hidden="true" />
      </div>
      {open.value && <Opened channel={channel} info={info} />}
    </li>
  );
}

function Opened({ channel, info }: ChannelProps) {
  const { Controls, row } = KINDS[info.kind];
  const why = useComputed(() => {
    const refused = refusedChannels.value.get(channel);
    return refused ? `Refused: ${refused.words}.` : '';
  });
  const Hand = row?.Hand ?? Controls;
  return (
    <section class="brief-hand" aria-label={`Controls of ${channel}`}>
      <CommandSet label={`Controls of ${channel}`}>
        <div class={row ? 'hand' : 'row'}>
          <Hand channel={channel} info={info} />
        </div>
        <div class="row">
          <Identify channel={channel} />
          <a class="button" href={`#bench/${channel}`}>
            Bench<span class="unseen"> of {channel}</span>
          </a>
          {info.wire && <span class="hint">Wire {info.wire}</span>}
        </div>
        <p class="refused-words">{why}</p>
      </CommandSet>
    </section>
  );
}
