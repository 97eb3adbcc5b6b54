// The desk's pages work without this; it adds live progress, drag and drop, keys and the model viewer.
import htmx from "htmx.org";
(window as unknown as { htmx: unknown }).htmx = htmx;
