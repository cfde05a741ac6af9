// The page of the API. Requests are tried with the reader's own session, so they really act.
"use strict";

const place = document.getElementById("api");

SwaggerUIBundle({
  domNode: place,
  url: place.dataset.schema,
  presets: [SwaggerUIBundle.presets.apis],
  layout: "BaseLayout",
  deepLinking: true,
  // No description is sent to a checker on another host.
  validatorUrl: null,
  requestInterceptor(request) {
    const sameHost = new URL(request.url, location.href).origin === location.origin;
    if (sameHost && !["GET", undefined].includes(request.method)) {
      request.headers["X-CSRFToken"] = place.dataset.csrf;
    }
    return request;
  },
});
