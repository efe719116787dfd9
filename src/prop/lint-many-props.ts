import { isLoopback } from '../shared/loopback.ts';
import { listed } from './finding.ts';
import { kindOf } from './kinds/registry.ts';
import type { Notes } from './notes.ts';

/**
 * Checks the show of many props that the prop takes part in.
 * @param endless cues that go on until they are stopped
 */
export function lintManyProps(notes: Notes, endless: ReadonlySet<string>): void {
  const { show, channels } = notes.prop;
  if (!show) return;
  lintBroker(notes, show.broker);
  for (const [i, group] of show.groups.entries())
    if (show.groups.indexOf(group) < i)
      notes.error(['show', 'groups', i], `${group} is in this list already`, 'name it once', {
        path: ['show', 'groups'],
        value: [...new Set(show.groups)],
      });
  if (show.whenBrokerLost === 'finish' && endless.size > 0)
    notes.note(
      ['show'],
      `${listed([...endless])} would never finish, so the prop parks at once where one of them runs when the broker is lost`,
      'use cues that end, or write whenBrokerLost: park',
    );
  const moves = Object.values(channels).some((channel) => kindOf(channel).moves);
  notes.note(
    ['show'],
    `once it is armed, the prop wakes and ${moves ? 'moves' : 'switches'} when the show says so, with nobody at it`,
    'guard the pinch points, post a notice and fit the power switch; local rules apply',
  );
}

function lintBroker(
  notes: Notes,
  { url, username, passwordFile, caFile }: NonNullable<Notes['prop']['show']>['broker'],
): void {
  const at = ['show', 'broker'];
  if (notes.given.broken([...at, 'url'])) return;
  const { protocol, hostname } = new URL(url);
  const encrypted = protocol === 'mqtts:';
  if (!encrypted && caFile !== undefined)
    notes.error(
      [...at, 'caFile'],
      'mqtt:// is not encrypted, so no certificate is looked at',
      'write mqtts:// and the port that the broker has for it, such as 8883',
    );
  if (
    username !== undefined &&
    passwordFile === undefined &&
    !notes.given.has([...at, 'passwordFile'])
  )
    notes.error([...at, 'username'], 'there is no password for this name', 'add passwordFile');
  if (username === undefined && passwordFile !== undefined && !notes.given.has([...at, 'username']))
    notes.error([...at, 'passwordFile'], 'a password needs a name', 'add username');
  if (isLoopback(hostname)) return;
  if (!encrypted)
    notes.warning(
      [...at, 'url'],
      'password and commands cross the network unencrypted: whoever listens can read them, and whoever is in between can move the prop',
      'use mqtts:// and caFile',
    );
  if (username === undefined && !notes.given.has([...at, 'username']))
    notes.warning(
      at,
      'the prop has no name at the broker, so the broker lets in anybody who reaches it',
      'add username and passwordFile, and let the broker refuse strangers',
    );
}
