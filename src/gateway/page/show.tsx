import './show.css';
import { signal, useComputed } from '@preact/signals';
import { useEffect, useRef } from 'preact/hooks';
import { Act } from './act.tsx';
import { Triggers } from './overview-cues.tsx';
import { CommandSet, command, WhyNot } from './overview-parts.tsx';
import { ShowRelays } from './relay.tsx';
import { useReady, useSettled } from './settled.ts';
import { elapsedText, stepFrom, takesText } from './show-order.ts';
import { OrderEditor } from './show-order-editor.tsx';
import { allCues, hindrance, keepOrder, next, refusedPart, runCue, show } from './show-store.ts';
import { commanding, cueList, holding, nowS } from './store.ts';

/** The running cue of which it is asked what to do with it. */
const asked = signal('');
const isOrdering = signal(false);

/** A show by one thumb: the cues in the order of the show, and the next one always in reach. */
export function Show() {
  if (allCues.value.length === 0)
    return (
      <>
        <p class="hint">The prop file has no cues. Add some, and they are shown here.</p>
        <WholeShow />
      </>
    );
  if (isOrdering.value)
    return (
      <OrderEditor
        cues={allCues.value}
        onDone={() => {
          isOrdering.value = false;
        }}
      />
    );
  return (
    <div class="show">
      <section class="show-list" aria-labelledby="show-cues">
        <div class="show-head">
          <h2 id="show-cues">Cues</h2>
          <div class="show-why">
            <WhyNot />
          </div>
          <button
            type="button"
            onClick={() => {
              isOrdering.value = true;
            }}
          >
            Order
          </button>
        </div>
        <CommandSet labelledBy="show-cues">
          <ul class="show-cues">
            {show.value.map((cue) => (
              <CueButton key={cue} cue={cue} />
            ))}
          </ul>
          {show.value.length === 0 && (
            <p class="hint">Every cue is left out of the show. Press Order to put some back.</p>
          )}
        </CommandSet>
      </section>
      <div class="show-side">
        <Idle />
        <ShowRelays />
        <Triggers />
        <WholeShow />
      </div>
      <Next />
    </div>
  );
}

/** Leads to the page of all props. In a tab of its own: this page would lose control if it were left. */
function WholeShow() {
  const { show: name } = cueList.value;
  if (name === undefined) return null;
  return (
    <section aria-labelledby="show-whole">
      <h2 id="show-whole">Show of many props</h2>
      <p>
        {/* biome-ignore lint/security/noBlankTarget: only with an opener the new tab, of the same daemon, gets what this one keeps: the token */}
        <a class="button" href="show/" target="_blank" rel="opener">
          All props of {name}
        </a>{' '}
        (opens a new tab)
      </p>
      {holding.value && (
        <p class="hint">
          This page has control. Out of sight it loses it when something moves: hand over first.
        </p>
      )}
    </section>
  );
}

/** A cue as one large button; while it runs, another tap asks first, in the same place. */
function CueButton({ cue }: { cue: string }) {
  const info = useComputed(() => cueList.value.cues[cue]);
  const running = info.value?.running ?? false;
  const isNext = next.value === cue;
  const isAsked = asked.value === cue && running;
  const button = useRef<HTMLButtonElement>(null);
  const wasAsked = useRef(false);
  useEffect(() => {
    // The question goes, with the focus on it, when the cue ends or is answered.
    if (wasAsked.current && !isAsked && document.activeElement === document.body)
      button.current?.focus();
    wasAsked.current = isAsked;
  }, [isAsked]);
  if (isAsked) return <RunningQuestion cue={cue} />;
  return (
    <li class={`show-cue ${running ? 'is-running' : ''} ${isNext ? 'is-next' : ''}`}>
      <button
        type="button"
        ref={button}
        onClick={() => {
          if (running) asked.value = cue;
          else void runCue(cue);
        }}
      >
        <span class="show-name">
          {cue}
          {isNext && <span class="show-tag"> next</span>}
        </span>
        <CueState cue={cue} />
        {running && <Progress cue={cue} />}
      </button>
    </li>
  );
}

/** What is said of a cue below its name, always in the same space. */
function CueState({ cue }: { cue: string }) {
  const text = useComputed((): [kind: 'runs' | 'hint' | 'no', text: string] => {
    const info = cueList.value.cues[cue];
    if (!info) return ['hint', ''];
    const { running, startedS, durationS } = info;
    const refused = refusedPart(cue);
    if (refused) return ['no', refused];
    if (running)
      return [
        'runs',
        startedS === undefined ? 'runs' : elapsedText(nowS.value - startedS, durationS),
      ];
    const why = commanding.value ? hindrance(cue) : undefined;
    if (why) return ['no', why];
    return ['hint', takesText(durationS)];
  });
  const [kind, words] = text.value;
  return (
    <span class={`show-state number is-${kind}`}>
      {kind === 'runs' && <span aria-hidden="true">▶ </span>}
      {kind === 'no' && <span aria-hidden="true">! </span>}
      {words}
    </span>
  );
}

/** How far a cue with an end has come. */
function Progress({ cue }: { cue: string }) {
  const style = useComputed(() => {
    const { startedS, durationS } = cueList.value.cues[cue] ?? {};
    if (startedS === undefined || !durationS) return 'display:none';
    const share = Math.min(Math.max((nowS.value - startedS) / durationS, 0), 1);
    return `transform:scaleX(${share.toFixed(3)})`;
  });
  return <span class="show-progress" aria-hidden="true" style={style} />;
}

/** In the place of the cue's own button, which takes no press until it has been read. */
function RunningQuestion({ cue }: { cue: string }) {
  const first = useRef<HTMLButtonElement>(null);
  const ready = useReady();
  useEffect(() => first.current?.focus(), []);
  const answer = (act?: () => void) => {
    asked.value = '';
    act?.();
  };
  return (
    <li class="show-cue is-running">
      <fieldset class="show-ask" aria-label={`${cue} is running`}>
        <button type="button" ref={first} onClick={() => answer()}>
          Let it run
        </button>
        <Act can={ready} onAct={() => answer(() => command('cue.stop', { cue }))}>
          End {cue}
        </Act>
        <Act can={ready} onAct={() => answer(() => runCue(cue))}>
          Start again
        </Act>
      </fieldset>
    </li>
  );
}

/** Runs the next cue and goes on to the one after it; its neighbours choose another one without running it. */
function Next() {
  const name = next.value;
  const running = name !== undefined && cueList.value.cues[name]?.running === true;
  const ready = useSettled(name ?? '');
  if (name === undefined) return null;
  const choose = (by: number) => keepOrder({ next: stepFrom(show.peek(), name, by) });
  const at = show.value.indexOf(name) + 1;
  const why = commanding.value ? hindrance(name) : undefined;
  return (
    <section class="show-next" aria-label="Next cue">
      <button type="button" aria-label="The cue before is next" onClick={() => choose(-1)}>
        <span aria-hidden="true">‹</span>
      </button>
      <Act
        class="primary"
        can={ready && commanding.value}
        onAct={() => {
          if (running) asked.value = name;
          else void runCue(name);
        }}
      >
        <span class="show-next-word">
          {why ? `! ${why}` : `Next, ${at} of ${show.value.length}`}
        </span>
        <span class="show-next-name">{name}</span>
      </Act>
      <button type="button" aria-label="The cue after is next" onClick={() => choose(1)}>
        <span aria-hidden="true">›</span>
      </button>
    </section>
  );
}

/** Idle behaviours: one runs at a time, and gives way to everything else. */
function Idle() {
  const list = Object.entries(cueList.value.idle);
  if (list.length === 0) return null;
  return (
    <section aria-labelledby="show-idle">
      <h2 id="show-idle">Idle behaviour</h2>
      <CommandSet labelledBy="show-idle">
        <ul class="show-cues">
          {list.map(([name, { running }]) => (
            <li key={name} class={`show-cue ${running ? 'is-running' : ''}`}>
              <button
                type="button"
                aria-pressed={running}
                onClick={() =>
                  running ? command('idle.stop', {}) : command('idle.start', { idle: name })
                }
              >
                <span class="show-name">{name}</span>
                <span class={`show-state ${running ? 'is-runs' : 'is-hint'}`}>
                  {running ? '▶ running; press to end it' : 'press to start it'}
                </span>
              </button>
            </li>
          ))}
        </ul>
      </CommandSet>
    </section>
  );
}
