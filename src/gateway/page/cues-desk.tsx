import { cueList } from './store.ts';

/** The steps of a cue, in lanes along one time axis. */
export function Desk() {
  const cues = Object.keys(cueList.value.cues);
  return (
    <section class="sheet" aria-labelledby="desk">
      <h2 id="desk">Desk</h2>
      {cues.length === 0 ? (
        <p class="hint">The prop has no cues yet.</p>
      ) : (
        <p>Cues of the prop: {cues.join(', ')}.</p>
      )}
    </section>
  );
}
