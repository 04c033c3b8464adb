// Turns of a knob, one on its way at a time: of those that come meanwhile only the newest is ever sent.
const REST = 350;  // ms without a turn after which a step is done

export function turning(send) {
  const me = Math.random().toString(36).slice(2);
  let number = 0, away = null, waiting = null, rest = null;

  function go(turn) {
    number += 1;
    away = {...turn, serial: `${me}:${number}`};
    if (!send({do: "turn", name: turn.name, value: turn.value, serial: away.serial})) away = null;
  }

  function turn(name, value) {
    clearTimeout(rest);
    rest = null;
    const next = {name, value, begun: performance.now()};
    if (away === null) go(next);
    else waiting = next;
  }

  // Send what waits at once: something else is asked for next.
  function flush() {
    if (waiting === null) return;
    const next = waiting;
    waiting = null;
    go(next);
  }

  // The answer to the turn that was on its way has been drawn, or the turn was refused.
  function answered(serial, drawn) {
    if (away === null || away.serial !== serial) return null;
    const done = away;
    away = null;
    if (drawn) performance.measure("turn to curve", {start: done.begun, end: performance.now()});
    flush();
    return done;
  }

  // The hand is off: once everything is answered the step is done.
  function letGo() {
    clearTimeout(rest);
    rest = setTimeout(function settle() {
      if (away !== null) { rest = setTimeout(settle, 50); return; }
      rest = null;
      send({do: "settle"});
    }, REST);
  }

  function forget() { away = waiting = null; clearTimeout(rest); rest = null; }

  return {turn, flush, answered, letGo, forget, busy: () => away !== null || rest !== null};
}
