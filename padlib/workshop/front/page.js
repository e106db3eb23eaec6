// The page in the browser.
import { SocketLink } from "./link.js";
import { mount } from "./app.js";

globalThis.workshop = mount(document.body, new SocketLink());
