import { useComputed } from '@preact/signals';
import { Schematic } from '../../drawings/schematic.tsx';
import { tidy } from '../../shared/units.ts';
import { isFresh, notRehearsed, rehearsed, steps } from './cues-data.ts';
import { half, headS, loop, pause, play, playing, stateAt, toggle } from './cues-play.ts';
import { boxes, hasPicture, picture } from './picture-data.ts';
import { shownOf } from './picture-mark.ts';
import { placeStyle, Stage } from './picture-panel.tsx';
import { channels } from './store.ts';
import { Tick } from './tick.tsx';

/** The rehearsal of the cue on the picture of the prop: on the screen only. */
export function RehearsalPicture() {
  const done = rehearsed.value?.of;
  const canPlay = done?.ran;
  const { places = {} } = picture.value ?? {};
  const names = Object.keys(channels.value);
  const unplaced = boxes.value
    .map((box) => ({ ...box, names: box.names.filter((name) => !Object.hasOwn(places, name)) }))
    .filter((box) => box.names.length > 0);
  const named = (name: string) => <Mark channel={name} named />;
  return (
    <section class="sheet desk-rehearsal" aria-labelledby="desk-rehearsal">
      <h2 id="desk-rehearsal">Rehearsal, on the screen only</h2>
      <p class="hint">This does not move the prop.</p>
      <div class="row">
        <button
          type="button"
          aria-disabled={!canPlay}
          onClick={() => {
            if (!canPlay) return;
            if (playing.peek()) pause();
            else play(0);
          }}
        >
          {playing.value ? 'Pause' : 'Play'}
        </button>
        <Tick
          checked={loop.value}
          onTick={(checked) => {
            loop.value = checked;
          }}
        >
          in a loop
        </Tick>
        <Tick
          checked={half.value}
          onTick={(checked) => {
            half.value = checked;
          }}
        >
          half speed
        </Tick>
      </div>
      <p class={`number ${isFresh.value ? '' : 'is-old'}`} role="status">
        {steps.value.length === 0
          ? 'Nothing to rehearse yet.'
          : notRehearsed.value
            ? `It could not be rehearsed: ${notRehearsed.value}`
            : !done
              ? 'Rehearsing…'
              : done.ran
                ? done.cutShort
                  ? `It goes on; ${tidy(done.durationS, 1)} s of it were rehearsed.`
                  : `It takes ${tidy(done.durationS, 2)} s.`
                : 'It cannot run: see the remarks.'}
      </p>
      <Head />
      <div class="desk-stage">
        {hasPicture.value ? (
          <>
            <Stage>
              {Object.entries(places).map(([channel, at]) => (
                <Mark key={channel} channel={channel} at={at} />
              ))}
            </Stage>
            {unplaced.length > 0 && <Schematic boxes={unplaced} mark={named} />}
          </>
        ) : (
          names.length > 0 && <Schematic boxes={boxes.value} mark={named} />
        )}
      </div>
    </section>
  );
}

/** Beside the timeline: from the cursor, and back. */
export function PlayHere() {
  const can = rehearsed.value?.of.ran === true;
  return (
    <button
      type="button"
      aria-disabled={!can}
      onClick={() => {
        if (can) toggle();
      }}
    >
      {playing.value ? 'Pause' : 'Play from the cursor'}
      <span class="hint"> on the screen</span>
    </button>
  );
}

function Head() {
  const text = useComputed(() => `${headS.value.toFixed(1)} s`);
  return (
    <p class="number desk-head-time" aria-hidden="true">
      {text}
    </p>
  );
}

/** What a channel does in the rehearsal at this moment. */
function Mark({
  channel,
  at,
  named = false,
}: {
  channel: string;
  at?: readonly [number, number];
  named?: boolean;
}) {
  const shown = useComputed(() => {
    const info = channels.value[channel];
    if (!info) return undefined;
    const of = rehearsed.value?.of;
    return shownOf(info, stateAt(of, channel, info, headS.value), false);
  });
  const look = useComputed(
    () => `mark is-rehearsed ${shown.value?.look ?? ''} ${named ? 'is-named' : ''}`,
  );
  const light = useComputed(() => shown.value?.light && `--light:${shown.value.light}`);
  const sign = useComputed(() => shown.value?.sign ?? '');
  if (!channels.value[channel]) return null;
  return (
    <span class={look} style={at && placeStyle([at[0], at[1]])} aria-hidden="true">
      <span class="mark-dot" style={light}>
        {sign}
      </span>
      <span class="mark-name">{channel}</span>
    </span>
  );
}
