import type { ComponentChildren } from 'preact';

/** Leads to what the key reference says of a key: `channels.servo.calibration`. */
export function KeyLink({ of, children }: { of: string; children?: ComponentChildren }) {
  return (
    <a class="key-link" href={keyAddress(of)}>
      {children ?? (
        <>
          What <span class="path">{of}</span> means
        </>
      )}
    </a>
  );
}

/** A key's place in the key reference, as an address. */
export function keyAddress(path: string): string {
  return path ? `#setup/keys/${path}` : '#setup/keys';
}
