import { Act } from './act.tsx';
import { busy, file, undoSaved } from './cues-data.ts';
import { undoable } from './file-change.ts';
import { holding } from './store.ts';

/** Takes back what this page saved last, while that is the last change of the file. */
export function UndoSaved({ after }: { after?: () => void }) {
  const change = undoable(file.value?.version);
  if (!change) return null;
  return (
    <Act can={holding.value && !busy.value} onAct={() => void undoSaved().then(after)}>
      Undo the saved change of {change.what}
    </Act>
  );
}
