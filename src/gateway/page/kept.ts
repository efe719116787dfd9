/** What is used of a browser's Storage. */
export interface Kept {
  getItem(key: string): string | null;
  setItem(key: string, value: string): void;
  removeItem(key: string): void;
}

/**
 * A storage that never fails: where it is full or forbidden, what it is given lasts as long as the page.
 * @param storage asked for with every use, as that alone may be forbidden
 */
export function guarded(storage: () => Kept): Kept {
  /** What the storage did not take. */
  const here = new Map<string, string>();
  return {
    getItem: (key) => {
      const held = here.get(key);
      if (held !== undefined) return held;
      try {
        return storage().getItem(key);
      } catch {
        return null;
      }
    },
    setItem: (key, value) => {
      here.delete(key);
      try {
        storage().setItem(key, value);
      } catch {
        here.set(key, value);
      }
    },
    removeItem: (key) => {
      here.delete(key);
      try {
        storage().removeItem(key);
      } catch {
        // There is nothing in it either.
      }
    },
  };
}

/** What this browser keeps for the page, and what it keeps for this tab alone. */
export const browserKept = guarded(() => localStorage);
export const tabKept = guarded(() => sessionStorage);

/** Under which name a tab keeps its token. */
export const TOKEN_KEY = 'sinew-token';

/** What a kept text stands for; undefined where there is none, or where it cannot be read. */
export function readKept(text: string | null): unknown {
  try {
    return text === null ? undefined : JSON.parse(text);
  } catch {
    return undefined;
  }
}
