/** What a browser keeps (Web Storage, WHATWG HTML 12.2), as far as it is used. */
export function storage(texts: Record<string, string> = {}) {
  const kept = new Map(Object.entries(texts));
  return {
    kept,
    getItem: (key: string) => kept.get(key) ?? null,
    setItem: (key: string, text: string) => void kept.set(key, text),
    removeItem: (key: string) => void kept.delete(key),
  };
}
