import './app.css';
import { signal, useSignalEffect } from '@preact/signals';
import { render } from 'preact';
import { useEffect, useLayoutEffect, useRef } from 'preact/hooks';
import type { Params } from '../../api/methods.ts';
import { NOT_PARKED } from '../../shared/condition-text.ts';
import { Bench } from './bench.tsx';
import { Confirm } from './confirm.tsx';
import { CuesView } from './cues-view.tsx';
import { Device } from './device.tsx';
import { FileBanner } from './file-banner.tsx';
import { takeMinusSigns } from './for-people.ts';
import { placeByHand, watchHand } from './hand.ts';
import { watchKeyboard } from './keyboard.ts';
import { linkState, linkTimeoutMs, tokenReason, useToken } from './link.ts';
import { MainButton } from './main-button.tsx';
import { Overview } from './overview.tsx';
import { MovingNow } from './overview-moving.tsx';
import { watchPicture } from './picture-data.ts';
import { isOpenOn, PicturePanel, PictureToggle } from './picture-panel.tsx';
import { watchPresence } from './presence.ts';
import { watchRefusals } from './refusal.ts';
import { watchRefusedChannels } from './refused-channels.ts';
import { keepInSight } from './safety-place.ts';
import { SetUp } from './setup.tsx';
import { Show } from './show.tsx';
import { StopPress } from './stop-press.ts';
import {
  ask,
  brokenGuards,
  condition,
  isEmpty,
  lockout,
  lowSenses,
  notParked,
  propName,
  refused,
  startStore,
  trouble,
} from './store.ts';
import { Strip } from './strip.tsx';
import { me } from './who.ts';
import { Wiring } from './wiring.tsx';

/** Every view: by its name in the address, what it is called and what shows it. */
const VIEWS = {
  overview: { label: 'Overview', Shown: Overview },
  show: { label: 'Show', Shown: Show },
  bench: { label: 'Bench', Shown: Bench },
  cues: { label: 'Cues', Shown: CuesView },
  wiring: { label: 'Wiring', Shown: Wiring },
  setup: { label: 'Set-up', Shown: SetUp },
};
type View = keyof typeof VIEWS;

const view = signal<View>(viewOf(location.hash));

/** The first part of the address's fragment names the view: `#bench/beak`. */
function viewOf(hash: string): View {
  const [name] = hash.slice(1).split('/');
  return name && Object.hasOwn(VIEWS, name) ? (name as View) : 'overview';
}

function stop(): void {
  void ask('stop', { category: 1 });
}

/** Says so where it would not outlast a restart of the daemon. */
async function changeLockout<M extends 'lockout.set' | 'lockout.clear'>(
  method: M,
  params: Params<M>,
): Promise<void> {
  const result = await ask(method, params);
  if (result?.unsaved !== undefined) trouble.value = result.unsaved;
}

/** No link: the address's fragment names the view, so it cannot name the place to skip to as well. */
function skip(): void {
  document.getElementById('main')?.focus();
}

function App() {
  useEffect(() => {
    const onHash = () => {
      view.value = viewOf(location.hash);
      // The hand has gone elsewhere, and the box would lie over something else; the journal has it.
      if (refused.peek() !== undefined) trouble.value = '';
    };
    const onKey = (event: KeyboardEvent) => {
      if (event.key === 'Escape' && !event.repeat) stop();
    };
    addEventListener('hashchange', onHash);
    // On the way down, so that nothing on the page can keep the key to itself.
    addEventListener('keydown', onKey, true);
    for (const type of RELEASES) addEventListener(type, stopPress.released, true);
    return () => {
      removeEventListener('hashchange', onHash);
      removeEventListener('keydown', onKey, true);
      for (const type of RELEASES) removeEventListener(type, stopPress.released, true);
    };
  }, []);
  // With an empty prop there is one thing to do, and the address has not said otherwise.
  useSignalEffect(() => {
    if (isEmpty.value && location.hash === '') location.replace('#setup/new');
  });
  if (linkState.value === 'token') return <TokenForm />;
  const { Shown } = VIEWS[view.value];
  return (
    <div class={`app ${linkState.value === 'open' ? '' : 'cut'}`}>
      <button type="button" class="skip" onClick={skip}>
        Skip to the controls
      </button>
      <Header />
      <Strip>
        <PictureToggle view={view.value} />
        {view.value === 'overview' && <MovingNow />}
      </Strip>
      <LinkNotice />
      <Lockout />
      <NotParked />
      <Trouble />
      <FileBanner />
      <main
        id="main"
        class={isOpenOn(view.value) ? 'has-picture' : ''}
        tabIndex={-1}
        inert={linkState.value !== 'open'}
      >
        {isOpenOn(view.value) && <PicturePanel />}
        <Shown />
        <Device />
      </main>
      <Confirm />
      <Safety />
    </div>
  );
}

function Header() {
  return (
    <header inert={linkState.value !== 'open'}>
      <h1>{propName.value || 'Sinew'}</h1>
      <nav aria-label="Views">
        {Object.entries(VIEWS).map(([name, { label }]) => (
          <a key={name} href={`#${name}`} aria-current={view.value === name ? 'page' : undefined}>
            {label}
          </a>
        ))}
      </nav>
    </header>
  );
}

const stopPress = new StopPress(stop);
const RELEASES = ['pointerup', 'pointercancel', 'keyup'] as const;

/** Always on screen. Stop and park need no lease. */
function Safety() {
  const bar = useRef<HTMLElement>(null);
  useEffect(() => keepInSight(bar.current!), []);
  const stopped = condition.value === 'stopped' || condition.value === 'faulted';
  return (
    <footer class="safety" ref={bar} popover="manual">
      <MainButton />
      <HandsIn />
      <button type="button" disabled={stopped} onClick={() => ask('park', {})}>
        Park
      </button>
      <button
        type="button"
        class="stop"
        aria-keyshortcuts="Escape"
        onPointerDown={stopPress.pointerDown}
        onKeyDown={stopPress.keyDown}
        onClick={stopPress.click}
      >
        Stop <kbd>Esc</kbd>
      </button>
    </footer>
  );
}

/** At rest, but not at its park position: a limp limb may fall, or be anywhere. */
function NotParked() {
  if (notParked.value === undefined) return null;
  return (
    <div class="notice" role="status">
      <p>
        The prop is {NOT_PARKED}: {notParked.value}.
      </p>
    </div>
  );
}

/** Hands in the prop, guards that are broken, and what is too low to wake: said calmly, and always there while it is so. */
function Lockout() {
  const lock = lockout.value;
  const guards = brokenGuards.value;
  const low = lowSenses.value;
  if (!lock && !guards && !low) return null;
  const locks = lock ? [lock, ...(lock.also ?? [])] : [];
  return (
    <div class="notice" role="status">
      {locks.map(({ by, reason }) => (
        <p key={by}>
          Hands in the prop: {by} ({reason}). Nothing wakes or moves.
        </p>
      ))}
      {guards && <p>A guard is broken: {guards}. Nothing wakes or is moved until it is whole.</p>}
      {low && <p>{low}. See Measured on Overview.</p>}
      {lock && !locks.some(({ by }) => by === me.value) && <ForceUnlock />}
    </div>
  );
}

/** For a lockout that its holder cannot clear any more. */
function ForceUnlock() {
  return (
    <form
      onSubmit={(event) => {
        event.preventDefault();
        const reason = String(new FormData(event.currentTarget).get('reason')).trim();
        void changeLockout('lockout.clear', { force: true, reason });
      }}
    >
      <label>
        It was not set here. How do you know that nobody is in reach?{' '}
        <input name="reason" required maxLength={200} autocomplete="off" />
      </label>{' '}
      <button type="submit">Clear it anyway</button>
    </form>
  );
}

function HandsIn() {
  const lock = lockout.value;
  const mine = lock && [lock, ...(lock.also ?? [])].some(({ by }) => by === me.value);
  return mine ? (
    <button type="button" onClick={() => changeLockout('lockout.clear', {})}>
      Hands out
    </button>
  ) : (
    <button
      type="button"
      onClick={() => changeLockout('lockout.set', { reason: 'hands in the prop' })}
    >
      Hands in
    </button>
  );
}

function LinkNotice() {
  if (linkState.value === 'open') return null;
  const text =
    linkState.value === 'connecting'
      ? 'Connecting.'
      : `The link is lost. What you see is old. If this page had control, the prop began to park ` +
        `by itself within ${linkTimeoutMs.value + 100} ms, stage by stage; nothing here can stop it ` +
        `now: use the switch that cuts the power if you must. Trying to connect again.`;
  return (
    <p class="notice" role="alert">
      {text}
    </p>
  );
}

/** A refusal, beside the hand that asked. */
function Trouble() {
  const box = useRef<HTMLDivElement>(null);
  const text = trouble.value;
  useLayoutEffect(() => {
    if (text) placeByHand(box.current!);
  }, [text]);
  return (
    <div role="alert" class="trouble-place" ref={box}>
      {text && (
        <p class="trouble">
          {text}{' '}
          <button
            type="button"
            aria-label="OK: dismiss the message"
            onClick={() => {
              trouble.value = '';
            }}
          >
            OK
          </button>
        </p>
      )}
    </div>
  );
}

function TokenForm() {
  const field = useRef<HTMLInputElement>(null);
  useEffect(() => field.current?.focus(), []);
  return (
    <main class="token">
      <h1>Sinew</h1>
      <form
        onSubmit={(event) => {
          event.preventDefault();
          const token = new FormData(event.currentTarget).get('token');
          useToken(String(token).trim());
        }}
      >
        <label>
          The token of this prop
          <input ref={field} name="token" type="password" autocomplete="off" required />
        </label>
        <p class="hint">It stands in the file that the daemon was started with.</p>
        {tokenReason.value && <p role="alert">{tokenReason.value}</p>}
        <button type="submit">Enter</button>
      </form>
    </main>
  );
}

watchHand();
watchKeyboard();
watchRefusals();
takeMinusSigns();
watchRefusedChannels();
watchPresence();
watchPicture();
startStore();
render(<App />, document.body);
