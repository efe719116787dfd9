import { signal } from '@preact/signals';
import { PAPERS, type Paper, Protractor } from '../../drawings/protractor.tsx';

const paper = signal<Paper>('a4');

/** Chooses the paper and prints the protractor. */
export function ProtractorChoice() {
  return (
    <div class="row">
      <label>
        Paper{' '}
        <select
          value={paper.value}
          onChange={(event) => {
            paper.value = event.currentTarget.value as Paper;
          }}
        >
          {Object.entries(PAPERS).map(([key, { name }]) => (
            <option key={key} value={key}>
              {name}
            </option>
          ))}
        </select>
      </label>
      <button type="button" onClick={() => print()}>
        Print the protractor
      </button>
    </div>
  );
}

/** The sheet itself: on paper only. */
export function ProtractorPaper() {
  return (
    <div class={`measure-paper is-${paper.value}`} aria-hidden="true">
      <Protractor paper={paper.value} />
    </div>
  );
}
