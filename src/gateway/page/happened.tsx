import { useSignal } from '@preact/signals';
import { useEffect } from 'preact/hooks';
import type { Incident } from '../../api/types.ts';
import { IncidentPicture } from '../../drawings/incident-picture.tsx';
import { forPeople } from './for-people.ts';
import { call } from './link.ts';
import { isRefusal } from './refusal.ts';

/** What the journal shows only when it is asked for: a bundle of its own. */

export { WearList } from './wear-list.tsx';

/** What was recorded before the stop, fault or lost link of this entry of the journal. */
export function BeforeIt({ seq }: { seq: number }) {
  const incident = useSignal<Incident | undefined>(undefined);
  const why = useSignal('Loading…');
  useEffect(() => {
    call('incident.read', { seq }).then(
      (read) => {
        incident.value = read;
      },
      (error) => {
        why.value = isRefusal(error, 'incident.unknown')
          ? 'Nothing is kept of this one: the prop stood still, it belongs to the one before it, or it is too long ago.'
          : forPeople((error as Error).message);
      },
    );
  }, [seq]);
  if (!incident.value)
    return (
      <p class="hint" role="status">
        {why}
      </p>
    );
  return (
    <>
      <p>{forPeople(incident.value.line)}</p>
      <IncidentPicture body={incident.value.body} />
    </>
  );
}
