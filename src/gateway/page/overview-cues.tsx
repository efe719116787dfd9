import './overview-cues.css';
import type { ComponentChildren } from 'preact';
import { askFirst } from './confirm.tsx';
import { CueRails } from './cue-rails.tsx';
import { ControlSheet, command } from './overview-parts.tsx';
import { takesText } from './show-order.ts';
import { ask, cueList, holder, holding } from './store.ts';

/** Every cue of the prop, and below them the idle behaviours, one of which may run. */
export function Cues() {
  const cues = Object.entries(cueList.value.cues);
  const idle = Object.entries(cueList.value.idle);
  if (cues.length + idle.length === 0) return null;
  return (
    <ControlSheet title="Cues">
      {cues.length > 0 && (
        <ul class="cues">
          {cues.map(([cue, { running, durationS }]) => (
            <Play
              key={cue}
              name={cue}
              running={running}
              takes={takesText(durationS)}
              start="Run"
              restarts
              onStart={() =>
                running
                  ? askFirst({
                      title: `${cue} is already running`,
                      text: 'Start it again from its beginning? It keeps running until you answer.',
                      yes: 'Start again',
                      act: () => void command('cue.run', { cue }),
                    })
                  : command('cue.run', { cue })
              }
              onStop={() => command('cue.stop', { cue })}
              more={<CueRails cue={cue} />}
            />
          ))}
        </ul>
      )}
      {idle.length > 0 && (
        <>
          <h3>Idle behaviour</h3>
          <p class="hint">
            Plays small cues now and then until it is ended. It gives way to every other cue and to
            every command.
          </p>
          <ul class="cues">
            {idle.map(([name, { running }]) => (
              <Play
                key={name}
                name={name}
                running={running}
                start="Start"
                onStart={() => command('idle.start', { idle: name })}
                onStop={() => command('idle.stop', {})}
              />
            ))}
          </ul>
        </>
      )}
    </ControlSheet>
  );
}

function Play(props: {
  name: string;
  running: boolean;
  takes?: string;
  /** The word for starting it. */
  start: string;
  /** Started again while it runs, it begins again. */
  restarts?: boolean;
  onStart: () => void;
  onStop: () => void;
  more?: ComponentChildren;
}) {
  const { name, running, start } = props;
  return (
    <li>
      <div class="title">
        <div>{name}</div>
        <div class="hint number">
          {running && (
            <span class="going">
              <span aria-hidden="true">▶</span> running{props.takes && ', '}
            </span>
          )}
          {props.takes}
        </div>
      </div>
      <button
        type="button"
        aria-label={`${start} ${name}`}
        disabled={running && !props.restarts}
        onClick={props.onStart}
      >
        {start}
      </button>
      <button type="button" aria-label={`End ${name}`} disabled={!running} onClick={props.onStop}>
        End
      </button>
      {props.more}
    </li>
  );
}

/** Whether contacts, times of day and OSC messages may start cues while somebody has control. */
export function Triggers() {
  const { names, armed } = cueList.value.triggers;
  if (names.length === 0) return null;
  // Arming ends when the session that armed them loses control.
  const inForce = armed && holder.value !== null;
  return (
    <section class="sheet triggers" aria-labelledby="triggers">
      <h2 id="triggers">Triggers</h2>
      <p class="caution">
        With the triggers armed, the prop may move at any moment without anybody asking for it here.
        Keep hands, hair and sleeves away from it.
      </p>
      <div class="row">
        <button
          type="button"
          disabled={!holding.value}
          onClick={() => ask('trigger.arm', { armed: !inForce })}
        >
          {inForce ? 'Disarm the triggers' : 'Arm the triggers'}
        </button>
        <p role="status">
          {inForce ? (
            <span class="armed">
              <span aria-hidden="true">▲</span> armed
            </span>
          ) : (
            <>
              <span aria-hidden="true">■</span> not armed
            </>
          )}
        </p>
      </div>
      <p class="hint">
        {!holding.value && 'Take control to arm or disarm them. '}
        In the prop file: {names.join(', ')}.
      </p>
    </section>
  );
}
