import { computed, signal } from '@preact/signals';
import { useRef } from 'preact/hooks';
import { freeName } from '../../prop/name.ts';
import { soundNameOf } from '../../prop/sound-name.ts';
import { Act } from './act.tsx';
import { file as data, load } from './cues-data.ts';
import { recordOf } from './cues-model.ts';
import { UndoSaved } from './cues-undo.tsx';
import { writeChange } from './file-change.ts';
import { call } from './link.ts';
import { sendParts } from './send-parts.ts';
import { LoudCaution } from './sound.tsx';
import { holding, refuse, version } from './store.ts';

/** Sounds are sent to the daemon, which keeps them beside the prop file, and are taken off its list. */

const said = signal('');
/** How much of a sound has been sent, 0 to 1; undefined while none is. */
const sent = signal<number | undefined>(undefined);
const names = computed(() => Object.keys(recordOf(data.value?.data.sounds)));

/** A part of the view Voice. @param undo shows how to take the last change back, where no other part does */
export function AddSound({ undo = false }: { undo?: boolean }) {
  const input = useRef<HTMLInputElement>(null);
  const can = holding.value && sent.value === undefined;
  return (
    <section class="sheet" aria-labelledby="voice-sounds">
      <h2 id="voice-sounds">Sounds of the prop</h2>
      {names.value.length === 0 && <p class="hint">The prop has no sounds yet.</p>}
      {!holding.value && <p class="hint">Take control to add or remove sounds.</p>}
      <div class="row">
        <Act can={can} onAct={() => input.current?.click()}>
          Add a sound
        </Act>
        <input
          ref={input}
          hidden
          type="file"
          aria-label="Add a sound"
          accept=".wav,.flac,.ogg,.mp3,audio/*"
          onChange={(event) => {
            const given = event.currentTarget.files?.[0];
            event.currentTarget.value = '';
            if (given) void add(given);
          }}
        />
        {names.value.map((name) => (
          <Act key={name} can={can} onAct={() => void remove(name)}>
            Remove {name}
          </Act>
        ))}
        {undo && <UndoSaved />}
      </div>
      <p class="hint">WAV, FLAC, OGG (Vorbis) or MP3; 20 MB and 2 minutes at most.</p>
      <LoudCaution />
      {sent.value !== undefined && (
        <p>
          <progress max={1} value={sent.value} aria-label="Sending the sound" />{' '}
          <span class="number">{Math.round(100 * sent.value)} %</span>
        </p>
      )}
      <p role="status">{said.value}</p>
    </section>
  );
}

async function add(given: File): Promise<void> {
  said.value = '';
  sent.value = 0;
  const before = data.peek()?.version ?? version.peek();
  const name = freeName(soundNameOf(given.name), new Set(names.peek()));
  try {
    const begun = await call('sound.begin', { bytes: given.size });
    const bytes = new Uint8Array(await given.arrayBuffer());
    await sendParts('sound.part', begun, bytes, (share) => {
      sent.value = share;
    });
    const params = { upload: begun.upload, name };
    const result = await writeChange(`sound ${name}`, before, 'sound.add', params);
    if (result) said.value = `Sound ${name} is added.${laterText(result)}`;
  } catch (error) {
    refuse(error);
  } finally {
    // Where it was refused, the next one need not wait until this one is too old.
    if (said.peek() === '') {
      void call('sound.cancel', {}).catch(() => undefined);
      said.value = 'It was not added; the reason stands above.';
    }
    sent.value = undefined;
  }
  await load();
}

async function remove(sound: string): Promise<void> {
  const before = data.peek()?.version ?? version.peek();
  const result = await writeChange(`sound ${sound} removed`, before, 'sound.remove', { sound });
  if (!result) {
    said.value = 'It was not removed; the reason stands above.';
    return;
  }
  said.value = `Sound ${sound} is off the list; its file stays beside the prop file.${laterText(result)}`;
  await load();
}

function laterText({ pending }: { pending: boolean }): string {
  return pending ? ' It takes effect when the prop is parked.' : '';
}
