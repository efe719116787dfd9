import { useComputed, useSignal } from '@preact/signals';
import { CommandSet, command } from './overview-parts.tsx';
import type { ChannelProps } from './page-kind.ts';
import { stateOf } from './store.ts';

/** What loud sound does, where somebody may start one. */
export function LoudCaution() {
  return (
    <p class="caution">
      Loud sound damages hearing: at once near a loudspeaker, and over hours at 85 dB(A). Begin
      softly, keep ears away from the loudspeaker, and measure with a sound level meter where ears
      can be.
    </p>
  );
}

/** The controls of a sound channel, within a fieldset: which sound, play, silence. */
export function SoundControls({ channel, info }: ChannelProps) {
  const state = stateOf(channel);
  const names = info.sounds ?? [];
  const chosen = useSignal(names[0] ?? '');
  const percent = useComputed(() => `${Math.round(Number(state.value.value) * 100)} %`);
  if (names.length === 0)
    return <p class="hint">The prop has no sounds yet: sounds in the prop file lists them.</p>;
  return (
    <>
      <label>
        Sound{' '}
        <select
          aria-label={`Sound for ${channel}`}
          value={chosen}
          onChange={(event) => {
            chosen.value = event.currentTarget.value;
          }}
        >
          {names.map((name) => (
            <option key={name} value={name}>
              {name}
            </option>
          ))}
        </select>
      </label>
      <button
        type="button"
        aria-label={`Play on ${channel}`}
        onClick={() => void command('sound.play', { channel, sound: chosen.peek() })}
      >
        Play
      </button>
      <button
        type="button"
        aria-label={`Fade out ${channel}`}
        onClick={() => void command('sound.stop', { channel })}
      >
        Fade out
      </button>
      <span class="number">{percent}</span>
    </>
  );
}

/** The same where it stands alone. */
export function SoundBench(props: ChannelProps) {
  return (
    <>
      <LoudCaution />
      <CommandSet class="bare row" label={props.channel}>
        <SoundControls {...props} />
      </CommandSet>
    </>
  );
}

/** Nothing of a sound is measured with the bench. */
export function NoMeasure() {
  return null;
}
