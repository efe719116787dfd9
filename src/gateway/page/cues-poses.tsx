import { poses } from './store.ts';

/** The poses of the prop. */
export function Poses() {
  return (
    <section class="sheet" aria-labelledby="poses">
      <h2 id="poses">Poses</h2>
      {poses.value.length === 0 ? (
        <p class="hint">The prop has no poses yet.</p>
      ) : (
        <p>Poses of the prop: {poses.value.join(', ')}.</p>
      )}
    </section>
  );
}
