import { computed, effect, signal, useComputed } from '@preact/signals';
import { useEffect } from 'preact/hooks';
import { systemClock } from '../../shared/clock.ts';
import { tidy } from '../../shared/units.ts';
import { Act } from './act.tsx';
import { cue, cursorS, inFile, isChanged, running } from './cues-data.ts';
import { howWords, type Played, PropPlay, SPEEDS } from './cues-prop-play.ts';
import { forPeople } from './for-people.ts';
import { KIND_WORDS } from './kind-words.ts';
import { call, linkState } from './link.ts';
import { FlashCaution } from './overview-light.tsx';
import { command, WhyNot } from './overview-parts.tsx';
import { isRefusal } from './refusal.ts';
import { Select } from './select.tsx';
import { useSettled } from './settled.ts';
import { channels, commanding, cueList, refuse, trouble } from './store.ts';
import { Tick } from './tick.tsx';

/** The saved cue on the real prop: the one thing of the desk that moves it. */

/** What this page has started. */
export const onProp = signal<Played | undefined>(undefined);

const fromCursor = signal(false);
const rate = signal('1');
const again = signal(false);

const player = new PropPlay({
  clock: systemClock,
  run: async (params) => {
    try {
      const result = await call('cue.run', params);
      trouble.value = '';
      return result;
    } catch (error) {
      // It was ended while it was worked out.
      if (!isRefusal(error, 'cue.asked-again')) refuse(error);
      return undefined;
    }
  },
  stop: (name) => command('cue.stop', { cue: name }),
  changed: (now) => {
    onProp.value = now;
  },
});

/** While the desk is shown. Returns its end, which ends a loop as well. */
function watchOnProp(): () => void {
  const ends = [
    effect(() => {
      const runs = Object.entries(cueList.value.cues).filter(([, one]) => one.running);
      player.listed(new Set(runs.map(([name]) => name)));
    }),
    effect(() => {
      if (linkState.value !== 'open' || !commanding.value) player.lost();
    }),
  ];
  return () => {
    for (const end of ends) end();
    player.leave();
  };
}

/** The cue that the button ends: the one that was started here, or the one on the desk. */
const toEnd = computed(() => onProp.value?.cue ?? (running.value ? cue.value : undefined));

export function OnTheProp() {
  useEffect(watchOnProp, []);
  const name = cue.value;
  const now = onProp.value;
  const isSaved = !isChanged.value && inFile(name) !== undefined;
  const lit = useComputed(() =>
    Object.values(channels.value).some(({ kind }) => KIND_WORDS[kind].lit),
  );
  const ends = toEnd.value;
  // A second press of what has just ended it must not start it again.
  const isReady = useSettled(ends ?? '');
  return (
    <section class="sheet desk-prop" aria-labelledby="desk-prop">
      <h2 id="desk-prop">On the prop</h2>
      <p class="caution">
        This moves the prop itself: fingers get pinched between its parts, and vapour and lamps are
        hot. Keep hands, hair and sleeves away, and Stop within reach.
      </p>
      {lit.value && <FlashCaution />}
      <WhyNot />
      {!isSaved && <p class="hint">Only what is saved is played on the prop: save it first.</p>}
      <div class="row">
        <Tick
          checked={fromCursor.value}
          onTick={(checked) => {
            fromCursor.value = checked;
          }}
        >
          from the cursor, {tidy(cursorS.value, 2)} s
        </Tick>
        <Tick
          checked={again.value}
          onTick={(checked) => {
            again.value = checked;
          }}
        >
          in a loop
        </Tick>
        <Select
          class="field"
          label="Speed on the prop"
          value={rate.value}
          options={SPEEDS}
          onPick={(one) => {
            rate.value = one;
          }}
        />
      </div>
      {again.value && (
        <p class="hint">
          A loop goes on until you end it, leave the desk, or lose control or the link.
        </p>
      )}
      <div class="row">
        {ends === undefined ? (
          <Act
            can={commanding.value && isSaved && isReady}
            onAct={() =>
              void player.start(name, {
                fromS: fromCursor.peek() ? cursorS.peek() : 0,
                rate: Number(rate.peek()),
                loop: again.peek(),
              })
            }
          >
            Play {name} on the prop
          </Act>
        ) : (
          <Act
            class="primary"
            can={commanding.value}
            onAct={() => {
              if (now) player.end();
              else void command('cue.stop', { cue: ends });
            }}
          >
            End {ends} on the prop
          </Act>
        )}
        <span role="status">{ends !== undefined && <Running cue={ends} now={now} />}</span>
      </div>
      {now && now.leftOut.length > 0 && (
        <>
          <p>Not played on the prop:</p>
          <ul>
            {now.leftOut.map((one) => (
              <li key={one}>{forPeople(one)}</li>
            ))}
          </ul>
        </>
      )}
    </section>
  );
}

function Running({ cue: name, now }: { cue: string; now: Played | undefined }) {
  if (now?.asking) return <>It is being worked out.</>;
  const how = now ? howWords(now) : '';
  return (
    <>
      ▶ running{name !== cue.value && `: ${name}`}
      {how && `, ${how}`}
    </>
  );
}
