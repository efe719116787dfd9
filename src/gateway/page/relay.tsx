import { useComputed, useSignal } from '@preact/signals';
import { useId } from 'preact/hooks';
import type { ChannelInfo } from '../../api/types.ts';
import { CommandSet, command, NumberField, numberIn } from './overview-parts.tsx';
import type { ChannelProps } from './page-kind.ts';
import { remainingText } from './relay-time.ts';
import { isUnknown } from './standing.ts';
import { channels, stateOf } from './store.ts';

/** The controls of a relay, within a fieldset: one button for a pulse, else on, off, and for how long (s). */
export function RelayControls({ channel, info }: ChannelProps) {
  const state = stateOf(channel);
  const seconds = useSignal('');
  const isOn = useComputed(() => (state.value.value ? 'true' : 'false'));
  const isOff = useComputed(() => (state.value.value ? 'false' : 'true'));
  const turn = (on: boolean) => {
    const forS = on ? numberIn(seconds) : undefined;
    void command('channel.switch', { channel, on, forS });
  };
  if (info.pulseMs !== undefined)
    return (
      <>
        <button
          type="button"
          aria-label={`Pulse, ${info.pulseMs} ms, ${channel}`}
          onClick={() => turn(true)}
        >
          Pulse, {info.pulseMs} ms
        </button>
        <Remaining channel={channel} />
        <DutyHint info={info} />
      </>
    );
  return (
    <>
      <button
        type="button"
        aria-label={`${channel} on`}
        aria-pressed={isOn}
        onClick={() => turn(true)}
      >
        On
      </button>
      <button
        type="button"
        aria-label={`${channel} off`}
        aria-pressed={isOff}
        onClick={() => turn(false)}
      >
        Off
      </button>
      <NumberField label="for (s)" text={seconds} min={0} />
      <Remaining channel={channel} />
      <DutyHint info={info} />
    </>
  );
}

/** The same where it stands alone. */
export function RelayBench(props: ChannelProps) {
  return (
    <CommandSet class="bare row" label={props.channel}>
      <RelayControls {...props} />
    </CommandSet>
  );
}

function DutyHint({ info: { duty } }: { info: ChannelInfo }) {
  if (!duty) return null;
  return (
    <p class="hint duty">
      At most {duty.maxOnS} s on, then {duty.restS} s of rest.
    </p>
  );
}

function Remaining({ channel }: { channel: string }) {
  const text = useComputed(() => remainingText(channel));
  return <span class="remaining number">{text}</span>;
}

/** Every relay of the prop as one large button. */
export function ShowRelays() {
  const id = useId();
  const relays = Object.entries(channels.value).filter(([, { kind }]) => kind === 'relay');
  if (relays.length === 0) return null;
  return (
    <section aria-labelledby={id}>
      <h2 id={id}>Relays</h2>
      <CommandSet labelledBy={id}>
        <ul class="show-cues">
          {relays.map(([channel, info]) => (
            <RelayButton key={channel} channel={channel} info={info} />
          ))}
        </ul>
      </CommandSet>
    </section>
  );
}

/** One button: a pulse, or on and off in turn. */
function RelayButton({ channel, info }: ChannelProps) {
  const state = stateOf(channel);
  const isPulse = info.pulseMs !== undefined;
  const isOn = useComputed(() => state.value.value === true);
  const text = useComputed(() => {
    if (isUnknown(state.value)) return '! unknown: it may be on';
    const remaining = remainingText(channel);
    if (remaining) return remaining;
    if (isPulse) return `one pulse of ${info.pulseMs} ms`;
    return isOn.value ? 'on' : 'off';
  });
  const name = useComputed(() =>
    isPulse ? `Pulse ${channel}` : `${channel} ${isOn.value ? 'off' : 'on'}`,
  );
  return (
    <li class={`show-cue ${isOn.value ? 'is-running' : ''}`}>
      <button
        type="button"
        aria-pressed={isPulse ? undefined : isOn.value}
        onClick={() => command('channel.switch', { channel, on: isPulse || !isOn.peek() })}
      >
        <span class="show-name">{isPulse ? name : channel}</span>
        <span class={`show-state number ${isOn.value ? 'is-runs' : 'is-hint'}`}>{text}</span>
      </button>
    </li>
  );
}
