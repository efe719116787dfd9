export function Wiring() {
  return <h2>Wiring</h2>;
}
