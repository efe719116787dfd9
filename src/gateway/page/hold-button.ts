import { type ReadonlySignal, type Signal, useSignalEffect } from '@preact/signals';
import type { ButtonHTMLAttributes } from 'preact';
import { useEffect, useRef } from 'preact/hooks';
import { BOTH } from './hold.ts';
import { linkState } from './link.ts';
import { commanding } from './store.ts';

type Holder = 'key' | 'mouse' | 'touch';

/** What runs only while a button is held. */
interface Held {
  /** Ends it; does nothing when it rests. @param why for a person, empty on release */
  stop(why?: string): void;
}

interface HoldButton {
  /** A key goes down. */
  key(start: () => void): void;
  /** What makes a button one that is held: `start` begins it. */
  props(start: () => void): ButtonHTMLAttributes<HTMLButtonElement>;
}

/**
 * Holding a button, by finger, mouse or key, with everything that must end it: letting go or sliding off
 * anywhere, a second finger, a menu, the focus or the page leaving, a turned screen, a lost link or control.
 * @param say where a press that starts nothing is explained
 * @param busy something else moves what this would move
 */
export function useHoldButton(
  run: Held,
  say: Signal<string>,
  busy?: ReadonlySignal<boolean>,
): HoldButton {
  /** Fingers that went down on a button and are not up yet, wherever they are now. */
  const fingers = useRef(new Set<number>());
  /** What holds it, or held it last. */
  const by = useRef<Holder>('mouse');

  useSignalEffect(() => {
    if (linkState.value !== 'open') run.stop('The link is lost, so it stopped.');
    else if (!commanding.value) run.stop('This page may not move the prop any more.');
    else if (busy?.value) run.stop();
  });
  useEffect(() => {
    const release = () => run.stop();
    const lift = (event: PointerEvent) => {
      fingers.current.delete(event.pointerId);
      run.stop();
    };
    const away = () => {
      // What goes up meanwhile is not heard of.
      fingers.current.clear();
      run.stop('The page lost your attention, so it stopped.');
    };
    // The buttons are elsewhere then, and the finger is on something else.
    const turned = () => run.stop('The screen has changed its size, so it stopped.');
    const onVisibility = () => {
      if (document.hidden) away();
    };
    const onMenu = () => {
      if (by.current !== 'touch') run.stop();
    };
    // A key that goes up after the focus has left is not heard of. A mouse takes the focus by itself.
    const onFocusOut = () => {
      if (by.current === 'key') run.stop();
    };
    addEventListener('keyup', release, true);
    addEventListener('pointerup', lift, true);
    addEventListener('pointercancel', lift, true);
    addEventListener('blur', away);
    addEventListener('resize', turned);
    addEventListener('pagehide', away);
    addEventListener('focusout', onFocusOut, true);
    addEventListener('contextmenu', onMenu, true);
    document.addEventListener('visibilitychange', onVisibility);
    return () => {
      run.stop();
      removeEventListener('keyup', release, true);
      removeEventListener('pointerup', lift, true);
      removeEventListener('pointercancel', lift, true);
      removeEventListener('blur', away);
      removeEventListener('resize', turned);
      removeEventListener('pagehide', away);
      removeEventListener('focusout', onFocusOut, true);
      removeEventListener('contextmenu', onMenu, true);
      document.removeEventListener('visibilitychange', onVisibility);
    };
  }, [run]);

  const press = (holder: Holder, start: () => void) => {
    if (!commanding.peek() || busy?.peek()) return;
    by.current = holder;
    start();
  };
  const touch = ({ pointerId, pointerType, isPrimary }: PointerEvent, start: () => void) => {
    if (pointerType === 'mouse') return press('mouse', start);
    if (isPrimary) fingers.current.clear();
    const isAlone = fingers.current.size === 0;
    fingers.current.add(pointerId);
    if (isAlone) return press('touch', start);
    // One that rests on a button could not end what the other has begun.
    run.stop();
    say.value = BOTH;
  };
  const key = (start: () => void) => press('key', start);
  const release = () => run.stop();
  return {
    key,
    props: (start) => ({
      onPointerDown: (event) => {
        if (event.button !== 0) return;
        // A finger that slides off must be noticed: touch captures the pointer by itself, for the
        // innermost element under it.
        const { target, pointerId } = event;
        if (target instanceof Element && target.hasPointerCapture(pointerId))
          target.releasePointerCapture(pointerId);
        touch(event, start);
      },
      onPointerMove: (event) => {
        // Where it is captured all the same, nothing else tells that it is elsewhere.
        const { left, right, top, bottom } = event.currentTarget.getBoundingClientRect();
        const { clientX: x, clientY: y } = event;
        if (x < left || x > right || y < top || y > bottom) run.stop();
      },
      onPointerUp: release,
      onPointerCancel: release,
      onPointerLeave: release,
      onContextMenu: (event) => {
        // A long press of a finger asks for a menu, too.
        if (by.current === 'touch') event.preventDefault();
      },
      onKeyDown: (event) => {
        if (event.key !== ' ' && event.key !== 'Enter') return;
        event.preventDefault();
        event.stopPropagation();
        if (!event.repeat) key(start);
      },
    }),
  };
}
