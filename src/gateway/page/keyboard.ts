/** Keys of an on-screen keyboard come without a name, or into a field. */
const isRealKey = (event: KeyboardEvent): boolean =>
  event.isTrusted &&
  event.key !== 'Unidentified' &&
  !event.isComposing &&
  !(event.target instanceof Element && event.target.closest('input, textarea'));

/** Tells the style once a real key has been pressed: hints about keys are then shown on any screen. */
export function watchKeyboard(): void {
  const onKey = (event: KeyboardEvent) => {
    if (!isRealKey(event)) return;
    document.documentElement.classList.add('has-keys');
    removeEventListener('keydown', onKey, true);
  };
  addEventListener('keydown', onKey, true);
}
