import { useEffect } from 'preact/hooks';
import { Act } from './act.tsx';
import { usable } from './cues-perform-data.ts';
import type { Recorded } from './cues-perform-look.ts';
import {
  chosen,
  cueNames,
  endRecording,
  fromGrab,
  isUnsure,
  meanwhile,
  over,
  record,
  recording,
  savedAs,
  sounds,
  toRecord,
  waiting,
  waitNoMore,
  watchRecording,
} from './cues-perform-take.ts';
import { type Option, Select } from './select.tsx';
import { LoudCaution } from './sound.tsx';
import { commanding, holding } from './store.ts';
import { Tick } from './tick.tsx';

/** Records what is led, by itself or while a cue runs or a sound plays. */
export function Record() {
  useEffect(watchRecording, []);
  const now = recording.value;
  return (
    <section class="sheet" aria-labelledby="record">
      <h2 id="record">Record</h2>
      {now?.recording ? <UnderWay now={now} /> : <Begin isAgain={now !== undefined} />}
    </section>
  );
}

function Begin({ isAgain }: { isAgain: boolean }) {
  const can = commanding.value && toRecord.value.length > 0;
  const unsaved = isAgain && savedAs.value === '';
  const { over: cue, sound } = meanwhile.value;
  return (
    <>
      <fieldset class="bare" hidden={usable.value.length === 0}>
        <legend>Servos</legend>
        <div class="record-servos">
          {usable.value.map(({ channel }) => (
            <Tick
              key={channel}
              checked={toRecord.value.includes(channel)}
              onTick={(checked) => {
                const names = toRecord.peek().filter((name) => name !== channel);
                chosen.value = checked ? [...names, channel] : names;
              }}
            >
              {channel}
            </Tick>
          ))}
        </div>
      </fieldset>
      <div class="part-field">
        <Select
          label="While this runs"
          value={over.value}
          options={[
            ['', 'nothing'],
            { group: 'Cues', options: cueNames.value },
            { group: 'Sounds', options: sounds.value.map(soundOption) },
          ]}
          onPick={(name) => {
            over.value = name;
          }}
        />
      </div>
      <Tick
        checked={fromGrab.value}
        onTick={(checked) => {
          fromGrab.value = checked;
        }}
      >
        Begin when I take hold of a control
      </Tick>
      {sound && <LoudCaution />}
      {cue !== undefined && (
        <p class="caution">
          Cue {cue} moves the prop while you record, except for the servos that you record.
        </p>
      )}
      <div class="row">
        {waiting.value ? (
          <Act can onAct={waitNoMore}>
            Do not record
          </Act>
        ) : (
          <Act class="primary" can={can} onAct={() => void record()}>
            {isAgain ? 'Record again' : 'Record'}
          </Act>
        )}
        {waiting.value ? (
          <p role="status">
            <strong>Take hold of a control: it begins then.</strong>
          </p>
        ) : (
          unsaved && <p class="hint">The recording below is not saved, and is gone then.</p>
        )}
      </div>
    </>
  );
}

/** Beside the controls: hands are there while it records. */
export function RecordingHere() {
  const now = recording.value;
  if (waiting.value) return <strong>It records once you take hold.</strong>;
  if (!now?.recording || isUnsure.value) return null;
  return (
    <Act class="primary" can={holding.value} onAct={() => void endRecording()}>
      End the recording, <span class="number">{now.durationS.toFixed(1)} s</span>
    </Act>
  );
}

function UnderWay({ now }: { now: Recorded }) {
  if (isUnsure.value)
    return (
      <p class="record-on" role="status">
        The link is lost. Whether it still records is seen once the link is back.
      </p>
    );
  return (
    <>
      <p class="record-on" role="status">
        <strong>Recording</strong> {now.channels.join(', ')}
        {now.over !== undefined && <> while cue {now.over} runs</>}
        {now.sound && (
          <>
            {' '}
            while {now.sound.channel} plays {now.sound.sound}
          </>
        )}
      </p>
      <p class="number record-time">{now.durationS.toFixed(1)} s</p>
      <p class="hint">End it beside the controls.</p>
    </>
  );
}

/** The sound as a value of the list: a name has no slash in it. */
function soundOption({ channel, sound }: { channel: string; sound: string }): Option {
  return [`/${channel}/${sound}`, `${sound} on ${channel}`];
}
