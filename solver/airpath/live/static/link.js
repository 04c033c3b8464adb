// The line to airpath: says what is wished, hears what is to be shown, notices when nobody answers any more.
const AGAIN = 1500;  // ms

export function link(hear, lost) {
  let socket;
  function open() {
    socket = new WebSocket(new URL("talk", location.href.replace(/^http/, "ws")));
    socket.addEventListener("open", () => lost(false));
    socket.addEventListener("message", (event) => hear(JSON.parse(event.data)));
    socket.addEventListener("close", () => { lost(true); setTimeout(open, AGAIN); });
  }
  open();
  return (wish) => {
    if (socket.readyState !== WebSocket.OPEN) return false;
    socket.send(JSON.stringify(wish));
    return true;
  };
}
