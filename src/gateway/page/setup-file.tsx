import './setup-file.css';
import { useEffect } from 'preact/hooks';
import { Act } from './act.tsx';
import { undoable } from './file-change.ts';
import { conflict, done, followFile, mayWrite, report, undo } from './file-state.ts';
import { forPeople } from './for-people.ts';
import { Findings } from './setup-findings.tsx';
import { Versions } from './setup-versions.tsx';

/** The prop file: what is wrong with it, what it was before, and the way back. */
export function PropFile() {
  useEffect(() => followFile(), []);
  const now = report.value;
  if (!now) return <p role="status">Reading the prop file.</p>;
  return (
    <div class="prop-file">
      <Standing />
      <Done />
      <Conflict />
      <Findings />
      <Versions />
    </div>
  );
}

/** Which file it is, and whether it is in use. */
function Standing() {
  const { name, problem, pending, inUse, findings } = report.value!;
  const hasErrors = findings.some(({ level }) => level === 'error');
  return (
    <section class="sheet" aria-labelledby="file-name">
      <h2 id="file-name">{name}</h2>
      {problem !== undefined ? (
        <p class="is-problem">
          <b>The file on the disk is not in use</b>:{' '}
          {hasErrors
            ? 'it has errors, listed below. The prop continues as before.'
            : forPeople(problem)}
        </p>
      ) : pending ? (
        <p>
          <b>The file on the disk waits until the prop is parked.</b> Until then the version before
          is in use.
        </p>
      ) : (
        <p>This file is in use, as it is on the disk.</p>
      )}
      {inUse && (
        <p class="hint">
          On the disk: version {report.value!.version}. In use: version {inUse.version}.
        </p>
      )}
    </section>
  );
}

/** What was just done, with the way back. */
function Done() {
  const last = done.value;
  return (
    <div role="status">
      {last && (
        <p class="sheet file-done">
          {last.text}{' '}
          {undoable(report.value?.version)?.after === last.now && (
            <Act can={mayWrite.value} onAct={() => void undo()}>
              Undo
            </Act>
          )}
        </p>
      )}
    </div>
  );
}

/** Somebody else was first. */
function Conflict() {
  const changed = conflict.value;
  return (
    <div role="alert">
      {changed && (
        <section class="sheet is-problem">
          <p>
            <b>Somebody else has changed the file meanwhile. Nothing was written.</b>
          </p>
          {changed.length > 0 && (
            <>
              <p>They changed:</p>
              <ul>
                {changed.map((one) => (
                  <li key={one}>{one}</li>
                ))}
              </ul>
            </>
          )}
          <p>What stands below is the file as it is now. Look at it, then try again.</p>
          <button
            type="button"
            onClick={() => {
              conflict.value = undefined;
            }}
          >
            OK
          </button>
        </section>
      )}
    </div>
  );
}
